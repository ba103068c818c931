/** What became of a notice to the clinic. */
import type { JSX } from "preact";
import { goBack } from "../app/answering";
import type { Screen } from "../app/app";
import { sendNow } from "../app/finishing";
import { ComeAgain } from "./come_again";
import { CallLinks } from "./clinic_numbers";
import { ActionButton, type ScreenProps, Title } from "./controls";

/** Received, as a receipt of its own says; kept on this phone until there is network; or kept nowhere but in this page. */
export function Told(props: ScreenProps & { screen: Extract<Screen, { name: "told" }> }): JSX.Element {
  const { app, view, t, screen } = props;
  const { envelope_id } = screen.message;
  const received = app.receivedEnvelopes.has(envelope_id);
  const waits = view.outbox.find((each) => each.envelope_id === envelope_id);
  const onDisk = waits && !view.in_memory.has(envelope_id);
  const title = received ? "received_title" : waits?.trouble ? "refused_title" : onDisk ? "saved_title" : "unsaved_title";
  return (
    <>
      <Title>{t(title)}</Title>
      <p role="status">{t(received ? "told_received" : waits?.trouble ? "refused_do" : view.sending ? "saved_sending" : onDisk ? "saved_waiting" : "told_unsaved")}</p>
      {!received && !view.sending && (
        <ActionButton name="send-now" kind="plain" onPress={() => sendNow(app, true)}>
          {t("send_now")}
        </ActionButton>
      )}
      {title === "saved_title" && !view.sending && <ComeAgain {...props} />}
      <CallLinks {...props} />
      <nav>
        <ActionButton name="close-menu" onPress={() => goBack(app)}>
          {t("told_back")}
        </ActionButton>
      </nav>
    </>
  );
}

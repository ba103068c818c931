/** "Something here is wrong": what, what will happen then, and what became of it. */
import type { JSX } from "preact";
import { useState } from "preact/hooks";
import { goBack } from "../app/answering";
import type { Screen } from "../app/app";
import { sendNow } from "../app/finishing";
import { tellClinic } from "../app/noticing";
import type { Side } from "../form/due_sheet";
import { NOTICES } from "../form/notice";
import { ComeAgain } from "./come_again";
import { CallLinks } from "./clinic_numbers";
import { ActionButton, type ScreenProps, Title } from "./controls";
import { Options } from "./entries";

type Over<Name> = Extract<Screen, { name: Name }>;

export function Wrong({ app, t, screen }: ScreenProps & { screen: Over<"wrong"> }): JSX.Element {
  return (
    <>
      <Title>{t("wrong_title")}</Title>
      <ul class="menu-list">
        {NOTICES.map((kind) => (
          <li key={kind}>
            <ActionButton name={`wrong-${kind}`} kind="plain" onPress={() => app.go({ ...screen, name: "notice", kind })}>
              {t(`notice_${kind}`)}
            </ActionButton>
          </li>
        ))}
      </ul>
      <nav>
        <ActionButton name="back" kind="plain" onPress={() => goBack(app)}>
          {t("back")}
        </ActionButton>
      </nav>
    </>
  );
}

const SIDES = ["left", "right"] as const;

export function NoticeScreen({ app, view, t, screen }: ScreenProps & { screen: Over<"notice"> }): JSX.Element {
  const [side, setSide] = useState<Side>(null);
  const { kind, form_id, person } = screen;
  const sides = SIDES.map((each) => ({ code: each, label: t(`${each}_shoulder`), chosen: side === each, choose: () => setSide(each) }));
  return (
    <>
      <Title>{t(`notice_${kind}`)}</Title>
      <p>{t(`notice_${kind}_then`)}</p>
      <p>{t("notice_slow")}</p>
      {kind === "wrong_side" && (
        <fieldset>
          <legend>{t("notice_true_side")}</legend>
          <Options name="true_side" options={sides} tight />
        </fieldset>
      )}
      <p class="fault" role="alert">
        {view.note === "seal_failed" && t("notice_failed")}
      </p>
      <nav>
        <ActionButton name="back" kind="plain" onPress={() => app.go({ ...screen, name: "wrong" })}>
          {t("back")}
        </ActionButton>
        <ActionButton name="tell" busy={view.busy} onPress={() => tellClinic(app, { kind, form_id, true_side: side }, person)}>
          {t("notice_tell")}
        </ActionButton>
      </nav>
    </>
  );
}

/** Received, as a receipt of its own says; kept on this phone until there is network; or kept nowhere but in this page. */
export function Told(props: ScreenProps & { screen: Over<"told"> }): JSX.Element {
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

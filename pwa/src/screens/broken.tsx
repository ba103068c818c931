/** The screen after a fault of the app itself: the number to call, and a way to send what is here. */
import type { JSX } from "preact";
import type { App } from "../app/app";
import { losesOnReload } from "../app/device";
import { finishForm, sendNow } from "../app/finishing";
import { CallLinks, dial } from "./clinic_numbers";
import { ActionButton, type ScreenProps, Title } from "./controls";

export function Broken(props: ScreenProps): JSX.Element {
  const { app, view, t } = props;
  const unkept = losesOnReload(app);
  const failed = view.note === "seal_failed" || view.note === "seal_failed_newer" ? view.note : null;
  return (
    <>
      <Title>{t("broken_title")}</Title>
      <p role="alert">{failed ? t(failed) : t(unkept ? "broken_unkept" : "broken_kept")}</p>
      {view.send_failure && <p class="soft">{t(`offline_${view.send_failure}`)}</p>}
      <p>{t("broken_call")}</p>
      <CallLinks {...props} />
      <div class="stacked">
        {view.open && (
          <ActionButton name="send" kind="plain" busy={view.busy} onPress={() => finishForm(app)}>
            {t(view.busy ? "sending" : "send_so_far")}
          </ActionButton>
        )}
        {view.outbox.length > 0 && (
          <ActionButton name="send-now" kind="plain" busy={view.sending} onPress={() => sendNow(app, true)}>
            {t("send_now")}
          </ActionButton>
        )}
        <ActionButton name="reload" kind={unkept ? "plain" : "main"} onPress={() => location.reload()}>
          {t("reload")}
        </ActionButton>
      </div>
    </>
  );
}

/** When even that screen cannot be drawn: the clinic's number, without a word that would have to be looked up. */
export function BareNumber({ app }: { app: App }): JSX.Element {
  const { phone } = app.context.clinic;
  return (
    <main data-screen="broken">
      <a class="call" href={dial(phone)}>
        {phone}
      </a>
    </main>
  );
}

/** Where sealed answers wait on this phone: when to open the page again, and how to find it. */
import type { JSX } from "preact";
import { ActionButton, type ScreenProps } from "./controls";

export function ComeAgain({ app, view, t }: ScreenProps): JSX.Element {
  const { ios } = app.context;
  // The browser sends once there is network; where there is some and the clinic does not answer, only this page goes on trying.
  const unanswered = view.send_failure && view.send_failure !== "offline";
  return (
    <>
      {unanswered && <p>{t("offline_keep")}</p>}
      <p>{t(view.sends_alone && !unanswered ? "again_alone" : "again_soon")}</p>
      {ios && <p class="soft">{t("again_ios")}</p>}
      {view.install && (
        <ActionButton name="install" kind="plain" onPress={view.install}>
          {t("again_install")}
        </ActionButton>
      )}
    </>
  );
}

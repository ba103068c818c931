/** Where sealed answers wait on this phone: when to open the page again, and how to find it. */
import type { JSX } from "preact";
import { ActionButton, type ScreenProps } from "./controls";

export function ComeAgain({ app, view, t }: ScreenProps): JSX.Element {
  const { ios } = app.context;
  return (
    <>
      <p>{t(view.sends_alone ? "again_alone" : "again_soon")}</p>
      {ios && <p class="soft">{t("again_ios")}</p>}
      {view.install && (
        <ActionButton name="install" kind="plain" onPress={view.install}>
          {t("again_install")}
        </ActionButton>
      )}
    </>
  );
}

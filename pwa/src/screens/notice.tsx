/** "Something here is wrong": what, and what will happen then. Loaded late, so without hooks, and what changes the app is passed in. */
import type { JSX } from "preact";
import type { Screen } from "../app/app";
import { NOTICES, type Notice } from "../form/notice";
import { ActionButton, type ScreenProps, Title } from "./controls";
import { Options } from "./options";

type Over<Name> = Extract<Screen, { name: Name }>;

export function Wrong({ app, t, screen, onBack }: ScreenProps & { screen: Over<"wrong">; onBack: () => unknown }): JSX.Element {
  return (
    <>
      <Title>{t("wrong_title")}</Title>
      <ul class="menu-list">
        {NOTICES.map((kind) => (
          <li key={kind}>
            <ActionButton name={`wrong-${kind}`} kind="plain" onPress={() => app.go({ ...screen, name: "notice", kind, true_side: null })}>
              {t(`notice_${kind}`)}
            </ActionButton>
          </li>
        ))}
      </ul>
      <nav>
        <ActionButton name="back" kind="plain" onPress={onBack}>
          {t("back")}
        </ActionButton>
      </nav>
    </>
  );
}

const SIDES = ["left", "right"] as const;

export function NoticeScreen({ app, view, t, screen, onTell }: ScreenProps & { screen: Over<"notice">; onTell: (notice: Notice) => unknown }): JSX.Element {
  const { kind, form_id, true_side } = screen;
  const sides = SIDES.map((each) => ({ code: each, label: t(`${each}_shoulder`), chosen: true_side === each, choose: () => app.go({ ...screen, true_side: each }) }));
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
        <ActionButton name="tell" busy={view.busy} onPress={() => onTell({ kind, form_id, true_side })}>
          {t("notice_tell")}
        </ActionButton>
      </nav>
    </>
  );
}

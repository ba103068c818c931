/** What is lost when somebody is forgotten on this phone. Loaded late, so without hooks, and what changes the app is passed in. */
import type { JSX } from "preact";
import type { View } from "../app/app";
import { linksOf } from "../app/people";
import type { Translate } from "../i18n";
import type { Person } from "../store/people";
import { underLink } from "../store/tables";
import { ActionButton, type ScreenProps, sideName, Title } from "./controls";

/** What the clinic does not have yet, one line each: forms that were begun, and sealed ones that wait. */
function unsentOf(person: Person, view: View, t: Translate): string[] {
  const forms = person.sheet?.forms ?? [];
  const begun = forms.filter((form) => view.begun.has(underLink(person.row.lookup, form.form_id))).map((form) => t("forget_begun", { side: sideName(form.side, t) }));
  const waiting = view.outbox.filter((row) => row.lookup === person.row.lookup);
  return [...begun, ...waiting.map((row) => t("forget_waiting", { side: sideName(forms.find((form) => form.form_id === row.form_id)?.side ?? null, t) }))];
}

export function Forget({ app, view, t, person, onForget }: ScreenProps & { person: Person; onForget: () => unknown }): JSX.Element {
  const name = person.sheet?.patient.first_name ?? "";
  const unsent = linksOf(person, view).flatMap((each) => unsentOf(each, view, t));
  return (
    <>
      <Title>{t("forget_title", { name })}</Title>
      <p>{t("forget_what")}</p>
      {unsent.length > 0 && (
        <>
          <p>
            <b>{t("forget_lost")}</b>
          </p>
          <ul>
            {unsent.map((line) => (
              <li key={line}>{line}</li>
            ))}
          </ul>
        </>
      )}
      {!unsent.length && <p>{t("forget_nothing_lost")}</p>}
      <nav>
        <ActionButton name="forget-now" kind="plain" busy={view.sending} onPress={onForget}>
          {t("forget_now")}
        </ActionButton>
        <ActionButton name="keep" onPress={() => app.go({ name: "forms" })}>
          {t("forget_keep")}
        </ActionButton>
      </nav>
    </>
  );
}

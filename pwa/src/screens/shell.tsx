/** What surrounds every screen: the clinic's name, languages, whether answers are saved, the help line. */
import type { ComponentChildren, JSX } from "preact";
import type { View } from "../app/app";
import { switchLanguage } from "../app/people";
import { LANGUAGE_NAMES, type Translate } from "../i18n";
import { clinicOf, dial } from "./clinic_numbers";
import type { ScreenProps } from "./controls";

function savedWords(view: View, persistence: string, t: Translate): string {
  if (!view.open) return "";
  if (view.draft_status === "unsaved") return t("unsaved_line");
  if (persistence === "sealed_only") return t("sealed_only_line");
  if (persistence === "nothing") return t("nothing_line");
  return view.draft_status === "saved" ? t("saved_line") : view.draft_status === "saving" ? t("saving_line") : "";
}

export function Languages({ app, view }: ScreenProps): JSX.Element {
  const others = app.context.languages.filter((each) => each !== view.language && LANGUAGE_NAMES[each]);
  return (
    <span class="languages">
      {others.map((each) => (
        <button key={each} type="button" class="quiet" lang={each} data-do="language" data-language={each} onClick={() => void switchLanguage(app, each)}>
          {LANGUAGE_NAMES[each]}
        </button>
      ))}
    </span>
  );
}

/** They have a header of their own, and the help line in the menu. */
const WITHIN_FORM = ["item", "warning", "who", "review", "menu", "stopped"];

export function Shell({ app, view, t, children }: ScreenProps & { children: ComponentChildren }): JSX.Element {
  const clinic = clinicOf(app, view);
  const name = view.screen.name;
  const saved = savedWords(view, app.context.deviceStore.persistence, t);
  return (
    <>
      {clinic.demo && <aside class="demo">{t("demo")}</aside>}
      {!WITHIN_FORM.includes(name) && (
        <header>
          <b>{clinic.name || t("product")}</b>
          <Languages app={app} view={view} t={t} />
        </header>
      )}
      <main data-screen={name} data-item={"key" in view.screen ? view.screen.key : undefined}>
        {children}
      </main>
      <footer>
        <span class="saved" role="status" data-kept={view.draft_status}>
          {saved}
        </span>
        {clinic.phone && !WITHIN_FORM.includes(name) && (
          <a class="help" data-do="help" href={dial(clinic.phone)}>
            {t("help", { phone: clinic.phone })}
          </a>
        )}
      </footer>
    </>
  );
}

/** The frame round every screen: who it is from, the help line, what is saved. */
import type { ComponentChildren, JSX } from "preact";
import { switchLanguage } from "../app/opening";
import type { View } from "../app/phone";
import { LANGUAGE_NAMES, type T } from "../i18n";
import { clinicOf, dial, type ScreenProps } from "./parts";

function savedWords(view: View, keeps: string, t: T): string {
  if (!view.open) return "";
  if (view.kept === "unsaved") return t("unsaved_line");
  if (keeps === "sealed_only") return t("sealed_only_line");
  if (keeps === "nothing") return t("nothing_line");
  return view.kept === "saved" ? t("saved_line") : view.kept === "saving" ? t("saving_line") : "";
}

function Languages({ phone, view }: ScreenProps): JSX.Element {
  const others = phone.world.languages.filter((each) => each !== view.language && LANGUAGE_NAMES[each]);
  return (
    <span class="languages">
      {others.map((each) => (
        <button key={each} type="button" class="quiet" lang={each} data-do="language" data-language={each} onClick={() => void switchLanguage(phone, each)}>
          {LANGUAGE_NAMES[each]}
        </button>
      ))}
    </span>
  );
}

const WITHIN_FORM = ["item", "warning", "who", "review"];

export function Shell({ phone, view, t, children }: ScreenProps & { children: ComponentChildren }): JSX.Element {
  const clinic = clinicOf(phone, view);
  const name = view.screen.name;
  const saved = savedWords(view, phone.world.storage.keeps, t);
  return (
    <>
      {clinic.demo && <aside class="demo">{t("demo")}</aside>}
      {!WITHIN_FORM.includes(name) && (
        <header>
          <b>{clinic.name || t("product")}</b>
          <Languages phone={phone} view={view} t={t} />
        </header>
      )}
      <main data-screen={name} data-item={"key" in view.screen ? view.screen.key : undefined}>
        {children}
      </main>
      <footer>
        <span class="saved" role="status" data-kept={view.kept}>
          {saved}
        </span>
        {clinic.phone && (
          <a class="help" data-do="help" href={dial(clinic.phone)}>
            {t("help", { phone: clinic.phone })}
          </a>
        )}
      </footer>
    </>
  );
}

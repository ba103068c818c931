/** The clinic's own texts, to be read from wherever they are offered. */
import { clinicTexts } from "../form/clinic_texts";
import { en } from "../i18n/en";
import type { Person } from "../store/people";
import type { App, Screen } from "./app";

/** What is read so rarely that it is a file of its own, with its English words. */
export async function loadLate(app: App): Promise<void> {
  app.privacy ??= await app.context.loadPrivacy();
  app.catalogues.set("en", { ...en, ...app.privacy.enLate });
}

/** Who has gone on before their screens were there is left in peace. */
export async function readClinicTexts(app: App, person: Person): Promise<void> {
  const back = app.view.screen;
  try {
    await loadLate(app);
  } catch {
    return app.change({ note: "not_loaded" });
  }
  const texts = clinicTexts(person.sheet);
  const own = person.sheet?.patient.language ?? "";
  const [text, ...others] = texts;
  const next: Screen = text && !others.length ? { name: "privacy_text", text, own, back } : { name: "privacy", texts, own, back };
  if (app.view.screen === back) app.change({ screen: next, note: null });
}

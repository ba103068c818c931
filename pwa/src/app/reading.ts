/** The clinic's own texts, to be read from wherever they are offered. */
import { clinicTexts } from "../form/clinic_texts";
import { en } from "../i18n/en";
import type { Person } from "../store/people";
import type { App, Screen } from "./app";

/** Their screens are a file of their own. Who has gone on before it was there is left in peace. */
export async function readClinicTexts(app: App, person: Person): Promise<void> {
  const back = app.view.screen;
  try {
    app.privacy = await app.context.loadPrivacy();
  } catch {
    return app.change({ note: "not_loaded" });
  }
  app.catalogues.set("en", { ...en, ...app.privacy.enLate });
  const texts = clinicTexts(person.sheet);
  const own = person.sheet?.patient.language ?? "";
  const [text, ...others] = texts;
  const next: Screen = text && !others.length ? { name: "privacy_text", text, own, back } : { name: "privacy", texts, own, back };
  if (app.view.screen === back) app.change({ screen: next, note: null });
}

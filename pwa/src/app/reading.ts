/** What is loaded late: the clinic's own texts, to be read from wherever they are offered; being forgotten; what is said beside a form. */
import { clinicTexts } from "../form/clinic_texts";
import { en } from "../i18n/en";
import type { Person } from "../store/people";
import type { App, Screen } from "./app";

/** What is read so rarely that it is a file of its own, with its English words. */
export async function loadLate(app: App): Promise<void> {
  app.privacy ??= await app.context.loadPrivacy();
  app.catalogues.set("en", { ...en, ...app.privacy.enLate });
}

/** Who has gone on before the screen was there is left in peace. */
async function goLate(app: App, next: Screen): Promise<void> {
  const back = app.view.screen;
  try {
    await loadLate(app);
  } catch {
    return app.change({ note: "not_loaded" });
  }
  if (app.view.screen === back) app.change({ screen: next, note: null });
}

export function askToForget(app: App, person: Person): Promise<void> {
  return goLate(app, { name: "forget", person });
}

/** "Something here is wrong", of the person and, where it is said in a form, of that. */
export function askWhatIsWrong(app: App, person: Person, form_id: string | null, back: Screen): Promise<void> {
  return goLate(app, { name: "wrong", person, form_id, back });
}

export function readClinicTexts(app: App, person: Person): Promise<void> {
  const back = app.view.screen;
  const texts = clinicTexts(person.sheet);
  const own = person.sheet?.patient.language ?? "";
  const [text, ...others] = texts;
  return goLate(app, text && !others.length ? { name: "privacy_text", text, own, back } : { name: "privacy", texts, own, back });
}

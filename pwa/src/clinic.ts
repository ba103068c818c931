/** What the server wrote into the page about the clinic. */
import type { Clinic } from "./form/due_sheet";

/** `hours`: the opening hours by language; `phone_hours` are those of the clinic's first one. */
export type ClinicInPage = Clinic & { languages: string[]; hours: Record<string, string> };

/** Numbers differ from country to country, so none is assumed: the screens then name no number. */
const NO_CLINIC: ClinicInPage = { name: "", phone: "", phone_hours: "", closed_phone: "", emergency_number: "", demo: false, hours: {}, languages: ["en", "es"] };

export function readClinic(text: string): ClinicInPage {
  try {
    return { ...NO_CLINIC, ...(JSON.parse(text) as Partial<ClinicInPage>) };
  } catch {
    return NO_CLINIC;
  }
}

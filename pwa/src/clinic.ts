/** What the server wrote into the page about the clinic. */
import type { Clinic } from "./form/items";

/** `hours`: the opening hours by language; `phone_hours` are those of the clinic's first one. */
export type Here = Clinic & { languages: string[]; hours: Record<string, string> };

/** Numbers differ from country to country, so none is assumed: the screens then name no number. */
const NOTHING: Here = { name: "", phone: "", phone_hours: "", closed_phone: "", emergency_number: "", demo: false, hours: {}, languages: ["en", "es"] };

export function readClinic(text: string): Here {
  try {
    return { ...NOTHING, ...(JSON.parse(text) as Partial<Here>) };
  } catch {
    return NOTHING;
  }
}

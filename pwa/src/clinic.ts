/** What the server wrote into the page about the clinic. */
import type { Clinic } from "./form/items";

export type Here = Clinic & { languages: string[] };

const NOTHING: Here = { name: "", phone: "", phone_hours: "", closed_phone: "", emergency_number: "112", demo: false, languages: ["en", "es"] };

export function readClinic(text: string): Here {
  try {
    return { ...NOTHING, ...(JSON.parse(text) as Partial<Here>) };
  } catch {
    return NOTHING;
  }
}

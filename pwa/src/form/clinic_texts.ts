/** The clinic's own texts, as the due sheet brings them: its privacy notice first, then what people consent to. Pure. */
import { LANGUAGE_NAMES } from "../i18n";
import type { Sheet } from "./due_sheet";

export interface Paragraph {
  heading: boolean;
  text: string;
}

/** A text in one language. */
export interface Worded {
  title: string;
  paragraphs: Paragraph[];
}

export interface ClinicText {
  /** `privacy`, or to what a consent is given. */
  kind: string;
  version: string;
  /** `YYYY-MM-DD` */
  since: string;
  /** The day on which this person gave this consent. */
  given_on: string | null;
  texts: Record<string, Worded>;
}

const isText = (value: unknown): boolean => typeof value === "string" && value !== "";
const isDay = (value: unknown): boolean => /^\d{4}-\d\d-\d\d$/.test(String(value)) && Date.parse(String(value)) > 0;

function isWorded(value: Partial<Worded> | null): boolean {
  const whole = value && isText(value.title) && Array.isArray(value.paragraphs) && value.paragraphs.length > 0;
  return !!whole && value.paragraphs!.every((each) => each && typeof each.heading === "boolean" && isText(each.text));
}

function isWhole(value: Partial<ClinicText> | null): boolean {
  const { kind, version, since, given_on, texts } = value ?? {};
  const named = isText(kind) && isText(version) && isDay(since) && (given_on === null || isDay(given_on));
  const worded = texts && typeof texts === "object" ? Object.values(texts) : [];
  return named && worded.length > 0 && worded.every(isWorded);
}

/**
 * Those of the sheet's texts that can be shown; none of a sheet of an older server. One that is malformed is left out and stops nothing else.
 * Asked at each showing: a sheet may lie on this phone since a version of the app that did not look at them.
 */
export function clinicTexts(sheet: Sheet | null | undefined): ClinicText[] {
  const all = sheet?.notices;
  return Array.isArray(all) ? all.filter(isWhole) : [];
}

/**
 * The language in which a text is shown: the chosen one, else the patient's, else the first. A language that the app itself does not speak
 * cannot be chosen, so there the patient's comes first.
 */
export function languageOf({ texts }: ClinicText, chosen: string, own: string): string {
  const order = [...(LANGUAGE_NAMES[own] ? [chosen, own] : [own, chosen]), ...Object.keys(texts)];
  return order.find((each) => texts[each]) ?? chosen;
}

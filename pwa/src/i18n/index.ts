/** `t()`: a word in the chosen language, with its plural form and its placeholders filled. English is in the page, others are files. */
import { type Catalogue, en, type MessageKey, type Plural } from "./en.ts";

/** Each language by its own name; the build takes the list of catalogues from these. */
export const LANGUAGE_NAMES: Record<string, string> = { en: "English", es: "Español" };
const FROM_RIGHT = ["ar", "ckb", "dv", "fa", "he", "ps", "sd", "ug", "ur", "yi"];
/** The order of day and month differs between places that speak English; this one is read the same everywhere. */
const DATES_AS_IN: Record<string, string> = { en: "en-GB" };

export type Placeholders = Record<string, string | number>;
export type Translate = (key: MessageKey, values?: Placeholders) => string;

/** A telephone number stays on one line; words in its place may break. */
const UNBROKEN: Record<string, string> = { "-": "\u2011", " ": "\u00a0" };

export function fill(text: string, values: Placeholders): string {
  return text.replace(/\{(\w+)\}/g, (whole, name: string) => {
    const value = String(values[name] ?? whole);
    return name === "phone" ? value.replace(/[- ](?=[\d(])/g, (sign) => UNBROKEN[sign] ?? sign) : value;
  });
}

/** `values.n` chooses the plural form. */
export function translator(language: string, words: Partial<Catalogue> = en): Translate {
  return (key, values = {}) => {
    const found = words[key] as string | Plural;
    if (typeof found === "string") return fill(found, values);
    // Made only where it is needed: it costs more than all other words of a screen.
    return fill(found[new Intl.PluralRules(language).select(Number(values.n))] ?? found.other, values);
  };
}

/** The first of the wished languages that the app has, else the first it offers. */
export function pickLanguage(wished: readonly string[], offered: readonly string[]): string {
  const known = offered.filter((language) => LANGUAGE_NAMES[language]);
  const short = wished.map((each) => each.slice(0, 2).toLowerCase());
  return short.find((each) => known.includes(each)) ?? known[0] ?? "en";
}

export function direction(language: string): "rtl" | "ltr" {
  return FROM_RIGHT.includes(language.split("-")[0] ?? "") ? "rtl" : "ltr";
}

/** Western calendar whatever the language: `fa` would otherwise count in Persian years. */
function format(language: string, options: Intl.DateTimeFormatOptions): Intl.DateTimeFormat {
  return new Intl.DateTimeFormat(`${language}-u-ca-gregory`, { ...options, timeZone: "UTC" });
}

/** `on` is `YYYY-MM-DD`. */
export function longDate(on: string, language: string): string {
  return format(DATES_AS_IN[language] ?? language, { day: "numeric", month: "long", year: "numeric" }).format(new Date(`${on}T00:00:00Z`));
}

/** `month` is `YYYY-MM`. */
export function longMonth(month: string, language: string): string {
  return format(language, { month: "long", year: "numeric" }).format(new Date(`${month}-01T00:00:00Z`));
}

/** Twelve names, January first. */
export function monthNames(language: string, length: "short" | "long" = "short"): string[] {
  const names = format(language, { month: length });
  return Array.from({ length: 12 }, (_, month) => names.format(new Date(Date.UTC(2001, month, 1))));
}

import { readdirSync } from "node:fs";
import { join } from "node:path";
import { describe, expect, test } from "vitest";
import { direction, fill, LANGUAGE_NAMES, longDate, longMonth, monthNames, pickLanguage, translator } from "../src/i18n";
import { type Catalogue, en as inPage, enLate, type MessageKey, type Plural } from "../src/i18n/en";
import { es } from "../src/i18n/es";

const en: Catalogue = { ...inPage, ...enLate };
const all: [string, Catalogue][] = await Promise.all(
  Object.keys(LANGUAGE_NAMES).map(async (language): Promise<[string, Catalogue]> => {
    const module = (await import(`../src/i18n/${language}.ts`)) as Record<string, Catalogue>;
    return [language, language === "en" ? en : (module[language] as Catalogue)];
  }),
);

function texts(words: Catalogue): string[] {
  return Object.values(words).flatMap((each: string | Plural) => (typeof each === "string" ? [each] : Object.values(each)));
}
function sentences(text: string): string[] {
  return text.split(/[.!?:]\s+|[.!?]$/).filter((each) => each.trim());
}
const wordsIn = (text: string): string[] => text.match(/[\p{L}\d'{}-]+/gu) ?? [];
const gapsIn = (text: string): string[] => (text.match(/\{\w+\}/g) ?? []).sort();

/** Groups of vowels, a silent e at the end taken off. */
function syllables(word: string): number {
  const groups = word.toLowerCase().replace(/[^a-z]/g, "").replace(/(?:[^laeiouy]|^)e$/, "").match(/[aeiouy]+/g);
  return Math.max(1, groups?.length ?? 1);
}

function counts(): { words: number; sentences: number; syllables: number; long: number } {
  const running = texts(en).filter((text) => wordsIn(text).length >= 4);
  const parts = running.flatMap(sentences);
  const words = parts.flatMap(wordsIn);
  const long = words.filter((word) => syllables(word) >= 3).length;
  return { words: words.length, sentences: parts.length, syllables: words.reduce((sum, word) => sum + syllables(word), 0), long };
}

describe("the app's own words", () => {
  test.each(all)("%s: no sentence is longer than 15 words", (_language, words) => {
    const long = texts(words).flatMap(sentences).filter((sentence) => wordsIn(sentence).length > 15);
    expect(long).toEqual([]);
  });

  test("the English is at or below the sixth grade by Flesch-Kincaid and by Gunning's fog index", () => {
    const c = counts();
    const perSentence = c.words / c.sentences;
    const kincaid = 0.39 * perSentence + 11.8 * (c.syllables / c.words) - 15.59;
    const fog = 0.4 * (perSentence + 100 * (c.long / c.words));
    expect(kincaid).toBeLessThanOrEqual(6);
    expect(fog).toBeLessThanOrEqual(6);
  });

  test("every file of src/i18n is a language with a name", () => {
    const files = readdirSync(join(import.meta.dirname, "../src/i18n")).map((each) => each.replace(/\.ts$/, ""));
    expect(files.filter((each) => each !== "index").sort()).toEqual(Object.keys(LANGUAGE_NAMES).sort());
  });

  test.each(all)("%s: each sentence fills the same gaps as the English one", (_language, words) => {
    for (const key of Object.keys(en) as MessageKey[]) {
      const [one, other] = [en[key], words[key]].map((each: string | Plural) => gapsIn(typeof each === "string" ? each : each.other));
      expect([key, other]).toEqual([key, one]);
    }
  });

  test("nothing promises that someone watches, or that nothing can be lost", () => {
    const said = texts(en).join(" ").toLowerCase();
    for (const promise of ["monitor", "we will call", "we are watching", "guarantee", "anonymous", "never lost", "secure"]) {
      expect(said).not.toContain(promise);
    }
  });
});

describe("t()", () => {
  test("chooses the plural form and fills the gaps", () => {
    expect([1, 5].map((n) => translator("en")("minutes", { n }))).toEqual(["about 1 minute", "about 5 minutes"]);
    expect(translator("es", es)("forms_intro", { n: 1 })).toBe("Hay un formulario para usted.");
    expect(fill("{a} and {b}", { a: 1 })).toBe("1 and {b}");
  });

  test("the language is the first wished one that is offered", () => {
    expect(pickLanguage(["fr-FR", "es-MX", "en"], ["en", "es"])).toBe("es");
    expect(pickLanguage(["fr"], ["es", "en"])).toBe("es");
    expect(pickLanguage(["fa"], [])).toBe("en");
  });

  test("dates are of the western calendar and of the day written, whatever the language and the time zone", () => {
    expect(longDate("2025-01-31", "en")).toBe("31 January 2025");
    expect(longDate("2025-01-31", "fa")).toContain("ژانویه");
    expect(longMonth("2025-01", "es")).toBe("enero de 2025");
    expect(monthNames("en")).toEqual(["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]);
  });
});

test("a text of another language than the app's is marked with its own direction, whatever the region", () => {
  expect(["ar", "fa-IR", "he", "ur-PK"].map(direction)).toEqual(["rtl", "rtl", "rtl", "rtl"]);
  expect(["en", "es-MX", "arn"].map(direction)).toEqual(["ltr", "ltr", "ltr"]);
});

import { describe, expect, test } from "vitest";
import type { Answers } from "../src/form/due_sheet";
import { browserName, payloadOf, type ResponseContext, textFor } from "../src/form/payload";
import { formOf, sheetOf } from "./cast";

const at = "2026-11-25T08:00:00.123Z";
const around: ResponseContext = {
  language: "es",
  build: "b1",
  opened_at: at,
  finished_at: at,
  utc_offset_minutes: 60,
  time_zone: "Europe/Madrid",
  clock_skew_ms: -12,
  answered_by: "patient_with_help",
  device: { screen: "360x640", browser: "Safari 13" },
};

function payload(answers: Answers): { text: string; read: Record<string, any> } {
  const sheet = sheetOf(["left"]);
  const text = payloadOf(sheet.forms[0]!, sheet, answers, around);
  return { text, read: JSON.parse(text) };
}

describe("the payload of a finished form", () => {
  test("every item has a state; what was never asked is skipped, what was not reached is said so", () => {
    const { read } = payload({
      "since@1/1": { state: "answered", value: 0, first_at: at, last_at: at },
      "since@1/2": { state: "not_applicable", first_at: at, last_at: at },
      "since@1/3": { state: "declined", first_at: at, last_at: at },
      "sst@1/1": { state: "answered", value: 1, first_at: at, last_at: at },
    });
    const states = read.parts.map((part: { answers: object }) => Object.entries(part.answers).map(([item, answer]) => `${item} ${answer.state}`));
    expect(states[0].sort()).toEqual(["1 answered", "1a skipped", "1b skipped", "2 not_applicable", "3 declined", "4 skipped"]);
    expect(states[1]).toEqual(["1 answered", "2 not_reached"]);
    expect(read.parts[0].answers["3"]).toEqual({ state: "declined", first_at: at, last_at: at });
    expect(read.parts[0].answers["1a"]).toEqual({ state: "skipped" });
  });

  test("whether a call-now page was read stays on the phone", () => {
    const { read } = payload({ "sst@1/2": { state: "answered", value: 1, first_at: at, last_at: at, read: true } });
    expect(read.parts[1].answers["2"]).toEqual({ state: "answered", value: 1, first_at: at, last_at: at });
  });

  test("an answer under a condition that no longer holds is not sent", () => {
    const { read } = payload({
      "since@1/1": { state: "answered", value: 0, first_at: at, last_at: at },
      "since@1/4": { state: "answered", value: "a secret", first_at: at, last_at: at },
    });
    expect(read.parts[0].answers["4"]).toEqual({ state: "skipped" });
    expect(JSON.stringify(read)).not.toContain("secret");
  });

  test("items stand in the order of the sheet, which an object would not keep", () => {
    const { text } = payload({});
    const order = [...text.matchAll(/"(\w+)":\{"state"/g)].map((found) => found[1]);
    expect(order).toEqual(["1", "1a", "1b", "2", "3", "4", "1", "2"]);
  });

  test("the rest says when, how, in which words and on what", () => {
    const { read } = payload({});
    const { parts, ...head } = read;
    expect(head).toEqual({ format: 1, form_id: "00000000-0000-4000-8000-00000000000a", sheet_revision: 3, mode: "own_phone", ...around });
    expect(parts.map((part: { text_id: string }) => part.text_id)).toEqual(["since@1/es/x", "sst@1/es/x"]);
  });

  test("a language without a text falls back to the patient's, and the text id tells the truth", () => {
    expect(textFor(formOf("left"), sheetOf(["left"]), "sst@1", "fa").text.text_id).toBe("sst@1/en/x");
  });

  test.each([
    ["Mozilla/5.0 (iPhone) AppleWebKit/605 (KHTML, like Gecko) Version/13.1 Mobile/15E148 Safari/604.1", "Safari 13"],
    ["Mozilla/5.0 (Linux; Android 10) AppleWebKit/537.36 (KHTML, like Gecko) SamsungBrowser/23.0 Chrome/115.0 Mobile Safari/537.36", "Samsung 23"],
    ["Mozilla/5.0 (Android 13; Mobile; rv:120.0) Gecko/120.0 Firefox/120.0", "Firefox 120"],
    ["something", "other"],
  ])("%s is %s", (agent, name) => {
    expect(browserName(agent)).toBe(name);
  });
});

describe("the words of an item", () => {
  const sheet = sheetOf(["left"]);
  const words = (language: string): { text_id: string; title: string; recall: string; items: object } => ({ text_id: `sst@1/${language}/x`, title: "", recall: "", items: {} });
  const chosenFor = (patient: string, chosen: string): string => {
    const made = { ...sheet, patient: { ...sheet.patient, language: patient }, texts: { ...sheet.texts, "sst@1": { en: words("en"), es: words("es"), ar: words("ar") } } };
    return textFor(made.forms[0]!, made as typeof sheet, "sst@1", chosen).text.text_id;
  };

  test("are in the chosen language where the app speaks the patient's", () => {
    expect(chosenFor("es", "en")).toBe("sst@1/en/x");
    expect(chosenFor("es", "es")).toBe("sst@1/es/x");
  });

  test("are in the patient's own language where the app does not speak it, since nobody could choose it", () => {
    expect(chosenFor("ar", "en")).toBe("sst@1/ar/x");
    expect(chosenFor("ar", "es")).toBe("sst@1/ar/x");
  });
});

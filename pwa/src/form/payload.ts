/** Builds the payload of a finished form: PROTOCOL.md section 4. Pure. */
import { LANGUAGE_NAMES } from "../i18n";
import type { Answers, Form, InstrumentText, Sheet, Value } from "./due_sheet";
import { isAsked, stepsOf } from "./flow";

export type AnsweredBy = "patient" | "patient_with_help" | "someone_else";

export interface ResponseContext {
  language: string;
  build: string;
  opened_at: string;
  finished_at: string;
  utc_offset_minutes: number;
  time_zone: string | null;
  clock_skew_ms: number | null;
  answered_by: AnsweredBy;
  device: { screen: string; browser: string };
}

export interface PayloadAnswer {
  state: "answered" | "declined" | "skipped" | "not_reached" | "not_applicable";
  value?: Value;
  first_at?: string;
  last_at?: string;
}

/**
 * The text shown for an instrument of a form: the one under which the form was begun; in the chosen language, else the patient's, else any.
 * A language that the app itself does not speak cannot be chosen, so there the patient's comes first.
 */
export function textFor(form: Form, sheet: Sheet, instrument: string, language: string): { language: string; text: InstrumentText } {
  const texts = form.words?.[instrument] ?? sheet.texts[instrument] ?? {};
  const own = sheet.patient.language;
  const order = [...(LANGUAGE_NAMES[own] ? [language, own] : [own, language]), ...Object.keys(texts)];
  for (const each of order) {
    const text = texts[each];
    if (text) return { language: each, text };
  }
  throw new Error(`no text for ${instrument}`);
}

/**
 * The payload's JSON: every item of the form in the sheet's order, each with a state.
 * Written by hand because an object's members named "1", "1a", "2" would come out as "1", "2", "1a".
 */
export function payloadOf(form: Form, sheet: Sheet, answers: Answers, context: ResponseContext): string {
  const steps = stepsOf(form, sheet);
  const stateOf = (key: string): PayloadAnswer => {
    const step = steps.find((each) => each.key === key);
    if (step && !isAsked(step, steps, answers)) return { state: "skipped" };
    const { read: _read, ...answer } = (answers[key] ?? { state: "not_reached" }) as PayloadAnswer & { read?: true };
    return answer;
  };
  const parts = form.parts.map((part) => {
    const text_id = textFor(form, sheet, part.instrument, context.language).text.text_id;
    const members = part.items.map((item) => `${JSON.stringify(item)}:${JSON.stringify(stateOf(`${part.instrument}/${item}`))}`);
    return `${JSON.stringify({ instrument: part.instrument, text_id }).slice(0, -1)},"answers":{${members.join(",")}}}`;
  });
  const { answered_by, device, ...times } = context;
  const head = { format: 1, form_id: form.form_id, sheet_revision: sheet.revision, ...times, mode: "own_phone", answered_by, device };
  return `${JSON.stringify(head).slice(0, -1)},"parts":[${parts.join(",")}]}`;
}

/** Browser name and main version, no more: enough to explain a display fault, too little to single out a person. */
export function browserName(agent: string): string {
  const known: [RegExp, string][] = [
    [/Firefox\/(\d+)/, "Firefox"],
    [/FxiOS\/(\d+)/, "Firefox iOS"],
    [/Edg\w*\/(\d+)/, "Edge"],
    [/SamsungBrowser\/(\d+)/, "Samsung"],
    [/CriOS\/(\d+)/, "Chrome iOS"],
    [/Chrome\/(\d+)/, "Chrome"],
    [/Version\/(\d+).*Safari/, "Safari"],
  ];
  for (const [pattern, name] of known) {
    const found = pattern.exec(agent);
    if (found) return `${name} ${found[1]}`;
  }
  return "other";
}

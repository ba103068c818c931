/** Invented people and a small form of every type of item. Ada answers; her left shoulder comes first. */
import { toB64u } from "../src/bytes";
import type { Definition, Form, InstrumentText, Sheet, Side } from "../src/form/due_sheet";

export const CLINIC = { name: "Clinic", phone: "555 1", phone_hours: "", closed_phone: "", emergency_number: "112", demo: true };

const SST: Definition = {
  id: "sst",
  version: "1",
  items: [
    { item: "1", type: "choice", codes: [1, 0] },
    { item: "2", type: "choice", codes: [1, 0], warning: [1] },
  ],
};

const SINCE: Definition = {
  id: "since",
  version: "1",
  items: [
    { item: "1", type: "choice", codes: [1, 0] },
    { item: "1a", type: "month", asked_if: { item: "1", codes: [1] } },
    { item: "1b", type: "text", max_length: 20, identifying: true, asked_if: { item: "1a", codes: [1] } },
    { item: "2", type: "integer", min: 0, max: 104, unit: "weeks", not_applicable: true },
    { item: "3", type: "scale", min: 0, max: 10 },
    { item: "4", type: "text", max_length: 20, identifying: true, asked_if: { item: "1", codes: [1] } },
  ],
};

function textOf(definition: Definition, language: string): InstrumentText {
  const items = definition.items.map((item) => [item.item, { stem: `{side} ${item.item}`, options: { "1": "Yes", "0": "No" } }]);
  return { text_id: `${definition.id}@1/${language}/x`, title: definition.id, recall: "Today", items: Object.fromEntries(items) };
}

export function formOf(side: Side): Form {
  return {
    form_id: side === "left" ? "00000000-0000-4000-8000-00000000000a" : "00000000-0000-4000-8000-00000000000b",
    side,
    timepoint: "year-1",
    title: { en: "One year" },
    operation_on: "2025-01-31",
    due_on: "2026-01-31",
    closes_on: null,
    minutes: 5,
    parts: [
      { instrument: "since@1", items: SINCE.items.map((item) => item.item) },
      { instrument: "sst@1", items: ["1", "2"] },
    ],
  };
}

export function sheetOf(sides: Side[], point = ""): Sheet {
  const definitions = { "since@1": SINCE, "sst@1": SST };
  return structuredClone({
    format: 1 as const,
    revision: 3,
    clinic: CLINIC,
    public_key: { key_id: "k1", suite: "0010-0001-0002", point },
    patient: { first_name: "Ada", language: "en" },
    forms: sides.map(formOf),
    instruments: definitions,
    texts: Object.fromEntries(Object.entries(definitions).map(([id, each]) => [id, { en: textOf(each, "en"), es: textOf(each, "es") }])),
  });
}

export async function clinicKey(): Promise<{ privateKey: CryptoKey; point: string }> {
  const pair = await crypto.subtle.generateKey({ name: "ECDH", namedCurve: "P-256" }, true, ["deriveBits"]);
  const point = toB64u(new Uint8Array(await crypto.subtle.exportKey("raw", pair.publicKey)));
  return { privateKey: pair.privateKey, point };
}

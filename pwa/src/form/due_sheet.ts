/** What a due sheet holds: PROTOCOL.md section 3 and instruments/README.md. */

export type Side = "left" | "right" | null;
export type ByLanguage = Record<string, string>;

export interface Clinic {
  name: string;
  phone: string;
  phone_hours: string;
  closed_phone: string;
  emergency_number: string;
  demo: boolean;
}

export interface AskedIf {
  item: string;
  codes: number[];
}

interface ItemBase {
  item: string;
  asked_if?: AskedIf;
  not_applicable?: boolean;
  identifying?: boolean;
}
export interface ChoiceItem extends ItemBase {
  type: "choice";
  codes: number[];
  warning?: number[];
  /** Those of `warning` after which the page names the emergency number first. */
  emergency?: number[];
}
export interface IntegerItem extends ItemBase {
  type: "integer";
  min: number;
  max: number;
  step?: number;
  unit?: string;
}
export interface ScaleItem extends ItemBase {
  type: "scale";
  min: number;
  max: number;
}
export interface MonthItem extends ItemBase {
  type: "month";
}
export interface TextItem extends ItemBase {
  type: "text";
  max_length: number;
}
export type Item = ChoiceItem | IntegerItem | ScaleItem | MonthItem | TextItem;

export interface Definition {
  id: string;
  version: string;
  /** `form` for the project's own questions. */
  kind?: string;
  side?: boolean;
  items: Item[];
}

export interface ItemText {
  stem: string;
  hint?: string;
  options?: ByLanguage;
  low?: string;
  high?: string;
  not_applicable?: string;
}

export interface InstrumentText {
  text_id: string;
  title: string;
  recall: string;
  items: Record<string, ItemText>;
}

export interface Part {
  instrument: string;
  items: string[];
}

export interface Form {
  form_id: string;
  side: Side;
  timepoint: string;
  title: ByLanguage;
  operation_on: string | null;
  due_on: string;
  closes_on: string | null;
  minutes: number;
  parts: Part[];
  /** The clinic no longer asks for this form; this phone keeps it because it has a draft of it. */
  gone?: boolean;
  /** Texts that have changed since this form was begun on this phone, as they were then; by instrument and language. */
  words?: Sheet["texts"];
}

export interface Sheet {
  format: 1;
  revision: number;
  clinic: Clinic;
  public_key: { key_id: string; suite: string; point: string };
  patient: { first_name: string; language: string };
  /** The latest operation on either shoulder, whether or not a form of it is open. */
  operated_on?: string | null;
  /** Forms that a person at the clinic looks at by hand. */
  held?: string[];
  /** The clinic's own texts, unchecked: read by `clinicTexts` alone. */
  notices?: unknown;
  forms: Form[];
  instruments: Record<string, Definition>;
  texts: Record<string, Record<string, InstrumentText>>;
}

export type Value = number | string;
export type Answer =
  /** `read`: the call-now page of this very answer was read. A new answer to the item starts without it. */
  | { state: "answered"; value: Value; first_at: string; last_at: string; read?: true }
  | { state: "declined" | "not_applicable"; first_at: string; last_at: string };

/** Answers by `instrument/item`, such as `sst@1/7`. */
export type Answers = Record<string, Answer>;

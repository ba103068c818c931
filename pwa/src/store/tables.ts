/** What the phone keeps, in three tables. A write is all or nothing, and on disk when its promise resolves. */
import type { EncryptedValue } from "./encrypt";

export interface PersonRow {
  lookup: string;
  proof: string;
  due_key: CryptoKey;
  answer_key: CryptoKey;
  draft_key: CryptoKey;
  state: LinkState;
  /** The due sheet under the draft key. */
  sheet: EncryptedValue | null;
  /** Forms that the clinic has, by form id: its receipt still stands. */
  sent: string[];
  /** Which restore came with the receipt of a form; one that is not here came with none. */
  sent_with?: Record<string, string>;
  /** The restore that came with the last sheet; rows of earlier versions have none. */
  restored_at?: RestoredAt;
  /** Forms that this sheet lists though the clinic gave a receipt for them before that restore: they are lost there. */
  lost?: string[];
  /** What ends all messages to the patient, sealed, with the restore that came with its receipt: it is sent once more after another. */
  notices?: { row: OutboxRow; restored_at: string | null }[];
  /** When the clinic last did not accept this proof, in ms; 0 since it did. By itself the phone asks with it once a day. */
  rejected?: number;
  clock_skew_ms: number | null;
  language: string | null;
  /** See `birthCheck`; rows of earlier versions have none. */
  birth_check?: number;
}

/** Out of which restore the clinic's records came; null is a name of its own: out of none. Undefined says nothing. Only ever compared. */
export type RestoredAt = string | null | undefined;
export type LinkState = "due" | "nothing_due" | "ended" | "replaced";

/** Names a form under a link: two links of a person may ask for the same form, and neither opens what the other has. */
export const underLink = (lookup: string, formId: string): string => `${lookup} ${formId}`;

export interface DraftRow {
  /** The key: `underLink`. Versions before wrote the form's id alone, and such a row keeps its key. */
  form_id: string;
  lookup: string;
  /** Counts writes; a write names the count it was based on. */
  seq: number;
  box: EncryptedValue;
}

export interface OutboxRow {
  envelope_id: string;
  form_id: string;
  lookup: string;
  proof: string;
  text: string;
  sha256: string;
  saved_at: string;
  trouble: Trouble | null;
  /** A notice that ends all messages: kept after its receipt, should the clinic lose it. */
  kept?: true;
}

/** Why an envelope stays though the server answered. */
export type Trouble = "malformed" | "too_large" | "check" | "hash";

export interface Rows {
  people: PersonRow;
  drafts: DraftRow;
  outbox: OutboxRow;
}
export type TableName = keyof Rows;

/** `based_on`: the `seq` the stored row must still have, null for none; otherwise nothing is written and Conflict is thrown. */
export type WriteOp =
  | { [T in TableName]: { table: T; put: Rows[T]; based_on?: number | null } }[TableName]
  | { table: TableName; remove: string; based_on?: number };

export class Conflict extends Error {}

export interface Tables {
  get<T extends TableName>(table: T, key: string): Promise<Rows[T] | undefined>;
  all<T extends TableName>(table: T): Promise<Rows[T][]>;
  write(ops: WriteOp[]): Promise<void>;
}

export const KEY_OF: { [T in TableName]: keyof Rows[T] & string } = { people: "lookup", drafts: "form_id", outbox: "envelope_id" };

export function keyOf(op: WriteOp): string {
  return "remove" in op ? op.remove : String((op.put as unknown as Record<string, unknown>)[KEY_OF[op.table]]);
}

export function isOutdated(op: WriteOp, stored: { seq?: number } | undefined): boolean {
  return op.based_on !== undefined && (stored?.seq ?? null) !== op.based_on;
}

/** For a phone that keeps nothing: the same tables until the page is closed. */
export function memoryTables(): Tables {
  const kept: { [T in TableName]: Map<string, Rows[T]> } = { people: new Map(), drafts: new Map(), outbox: new Map() };
  return {
    get: async (table, key) => kept[table].get(key),
    all: async (table) => [...kept[table].values()],
    write: async (ops) => {
      for (const op of ops) if (isOutdated(op, kept[op.table].get(keyOf(op)) as DraftRow | undefined)) throw new Conflict();
      for (const op of ops) {
        const table = kept[op.table] as Map<string, unknown>;
        if ("remove" in op) table.delete(op.remove);
        else table.set(keyOf(op), op.put);
      }
    },
  };
}

/** Sealed envelopes need no key of this phone, so they can be kept where keys cannot: the outbox on disk, the rest in memory. */
export function outboxOnDisk(disk: Tables, memory: Tables): Tables {
  const of = (table: TableName): Tables => (table === "outbox" ? disk : memory);
  return {
    get: (table, key) => of(table).get(table, key),
    all: (table) => of(table).all(table),
    write: async (ops) => {
      const onDisk = ops.filter((op) => op.table === "outbox");
      if (onDisk.length) await disk.write(onDisk);
      await memory.write(ops.filter((op) => op.table !== "outbox"));
    },
  };
}

/** Sends what waits in the outbox. An envelope is deleted from this phone only for a receipt with its own hash. */
import { markTrouble, removeReceived } from "../store/outbox";
import type { OutboxRow, RestoredAt, Tables, Trouble } from "../store/tables";
import type { Post, PostFailure } from "./http";

interface Receipt {
  envelope_id: string;
  status: string;
  reason: string | null;
  sha256: string | null;
  /** Servers of earlier versions name none. */
  restored_at?: string | null;
}

export type Outcome = { envelope_id: string; form_id: string; lookup: string } & ({ kind: "received"; restored_at: RestoredAt } | { kind: "kept"; trouble: Trouble });

export interface SendReport {
  outcomes: Outcome[];
  /** Set when the rest must be tried later. */
  later: { why: PostFailure; after_ms: number | null } | null;
}

const MOST_AT_ONCE = 20;
const REASONS: Trouble[] = ["malformed", "too_large", "check"];

function receiptsIn(json: unknown, rows: OutboxRow[]): Receipt[] | null {
  const receipts = (json as { receipts?: unknown } | null)?.receipts;
  if (!Array.isArray(receipts) || receipts.length !== rows.length) return null;
  return receipts.every((each: Receipt, at) => each?.envelope_id === rows[at]?.envelope_id || each?.status === "refused") ? receipts : null;
}

async function applyReceipt(row: OutboxRow, receipt: Receipt, tables: Tables): Promise<Outcome | null> {
  const { envelope_id, form_id, lookup } = row;
  const who = { envelope_id, form_id, lookup };
  // What the clinic said is so, whatever the disk lets us note of it: the envelope then goes once more, which is always safe.
  const keep = async (trouble: Trouble): Promise<Outcome> => {
    await markTrouble(row, trouble, tables).catch(() => undefined);
    return { ...who, kind: "kept", trouble };
  };
  if (receipt.status === "refused") {
    return keep(REASONS.find((reason) => reason === receipt.reason) ?? "malformed");
  }
  if (receipt.status !== "stored" && receipt.status !== "duplicate") return null;
  if (receipt.sha256?.toLowerCase() !== row.sha256) return keep("hash");
  const { restored_at } = receipt;
  await removeReceived(row, restored_at, tables).catch(() => undefined);
  return { ...who, kind: "received", restored_at };
}

async function sendBatch(rows: OutboxRow[], tables: Tables, post: Post): Promise<SendReport> {
  const reply = await post("/api/envelopes", { envelopes: rows.map((row) => ({ envelope: row.text, proof: row.proof })) });
  if (reply.kind === "later" && reply.why === "too_large" && rows.length > 1) return sendEach(rows, tables, post);
  if (reply.kind !== "ok") {
    const later = reply.kind === "later" ? { why: reply.why, after_ms: reply.after_ms } : { why: "server" as const, after_ms: null };
    return { outcomes: [], later };
  }
  const receipts = receiptsIn(reply.json, rows);
  if (!receipts) return { outcomes: [], later: { why: "portal", after_ms: null } };
  const outcomes: Outcome[] = [];
  let later: SendReport["later"] = null;
  for (const [at, row] of rows.entries()) {
    const outcome = await applyReceipt(row, receipts[at] as Receipt, tables);
    if (outcome) outcomes.push(outcome);
    else later = { why: "server", after_ms: null };
  }
  return { outcomes, later };
}

async function sendEach(rows: OutboxRow[], tables: Tables, post: Post): Promise<SendReport> {
  const whole: SendReport = { outcomes: [], later: null };
  for (const row of rows) {
    const part = await sendBatch([row], tables, post);
    whole.outcomes.push(...part.outcomes);
    whole.later ??= part.later;
  }
  return whole;
}

/** `by_itself`: as at each opening of the page. A proof that was not accepted goes out again only when a person asks for it: five wrong ones lock a patient out. */
export type Refused = boolean | "by_itself";

/** Sends all that waits. Envelopes that the server refused before are sent again only with `includeRefused`. */
export async function sendOutbox(tables: Tables, post: Post, includeRefused: Refused): Promise<SendReport> {
  const isSent = ({ trouble }: OutboxRow): boolean => !trouble || (includeRefused === "by_itself" ? trouble !== "check" : includeRefused);
  const waiting = (await tables.all("outbox")).filter(isSent);
  const whole: SendReport = { outcomes: [], later: null };
  for (let at = 0; at < waiting.length && !whole.later; at += MOST_AT_ONCE) {
    const part = await sendBatch(waiting.slice(at, at + MOST_AT_ONCE), tables, post);
    whole.outcomes.push(...part.outcomes);
    whole.later = part.later;
  }
  return whole;
}

const WAITS_MS = [5_000, 15_000, 60_000];

/** How long to wait before try number `tries`, spread by `random` in 0–1 so that many phones do not call at once. */
export function retryDelay(tries: number, random: number): number {
  const base = WAITS_MS[tries] ?? 300_000;
  return Math.round(base * (0.75 + random / 2));
}

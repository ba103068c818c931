/** Asks for the due sheet. */
import type { SealedSheet } from "../link/open_sheet";
import type { FetchedSheet } from "../store/people";
import type { LinkState } from "../store/tables";
import type { Post, PostFailure } from "./http";

export type DueReply = { kind: "due"; fetched: FetchedSheet } | { kind: "check" } | { kind: "later"; why: PostFailure };

const STATES: LinkState[] = ["due", "nothing_due", "ended", "replaced"];

function asSealed(value: unknown): SealedSheet | null {
  const sheet = value as Partial<SealedSheet> | null;
  const whole = sheet && typeof sheet.nonce === "string" && typeof sheet.ciphertext === "string" && Number.isInteger(sheet.revision);
  return whole ? (sheet as SealedSheet) : null;
}

/**
 * Phone time minus server time, as far as it is sure. The server's instant lies somewhere between asking and hearing; how long the way
 * took says nothing about the clock, so a server's instant between the two is a clock that is right.
 */
function surelyOff(asked_at: number, heard_at: number, server: number): number | null {
  if (!Number.isFinite(server)) return null;
  if (server < asked_at) return Math.round(asked_at - server);
  return server > heard_at ? Math.round(heard_at - server) : 0;
}

/** `now` in milliseconds. */
export async function fetchDueSheet(who: { lookup: string; proof: string }, post: Post, now: () => number): Promise<DueReply> {
  const asked_at = now();
  const reply = await post("/api/due", { lookup: who.lookup, proof: who.proof });
  if (reply.kind === "denied") return { kind: "check" };
  if (reply.kind === "later") return { kind: "later", why: reply.why };
  const said = reply.json as { state?: LinkState; sheet?: unknown; server_time?: string; restored_at?: string } | null;
  const state = said?.state;
  if (!state || !STATES.includes(state)) return { kind: "later", why: "portal" };
  const sheet = asSealed(said.sheet);
  if (!sheet && (state === "due" || state === "nothing_due")) return { kind: "later", why: "server" };
  const clock_skew_ms = surelyOff(asked_at, now(), Date.parse(said.server_time ?? ""));
  return { kind: "due", fetched: { state, sheet, clock_skew_ms, restored_at: said.restored_at } };
}

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

/** `now` in milliseconds: phone time minus server time tells how far the phone's clock is off. */
export async function fetchDueSheet(who: { lookup: string; proof: string }, post: Post, now: () => number): Promise<DueReply> {
  const reply = await post("/api/due", { lookup: who.lookup, proof: who.proof });
  if (reply.kind === "denied") return { kind: "check" };
  if (reply.kind === "later") return { kind: "later", why: reply.why };
  const said = reply.json as { state?: LinkState; sheet?: unknown; server_time?: string } | null;
  const state = said?.state;
  if (!state || !STATES.includes(state)) return { kind: "later", why: "portal" };
  const sheet = asSealed(said.sheet);
  if (!sheet && (state === "due" || state === "nothing_due")) return { kind: "later", why: "server" };
  const skew = now() - Date.parse(said.server_time ?? "");
  return { kind: "due", fetched: { state, sheet, clock_skew_ms: Number.isFinite(skew) ? Math.round(skew) : null } };
}

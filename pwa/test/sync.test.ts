import { describe, expect, test } from "vitest";
import type { OutboxRow, Tables } from "../src/store/tables";
import { memoryTables } from "../src/store/tables";
import { fetchDueSheet } from "../src/sync/due";
import { jsonPoster, type Post, type Reply } from "../src/sync/http";
import { retryDelay, sendOutbox } from "../src/sync/send";

function row(id: string): OutboxRow {
  return { envelope_id: id, form_id: `F${id}`, lookup: "L", proof: "P", text: `text ${id}`, sha256: "ab", saved_at: "", trouble: null };
}

async function outboxOf(...ids: string[]): Promise<Tables> {
  const tables = memoryTables();
  await tables.write(ids.map((id) => ({ table: "outbox", put: row(id) })));
  return tables;
}

type Said = { status: string; reason?: string; sha256?: string };

/** Answers each POST with one receipt an envelope; the ids are read from the envelopes' texts. */
function clinic(say: (id: string) => Said, bodies: number[] = []): Post {
  return async (_path, body) => {
    const envelopes = (body as { envelopes: { envelope: string }[] }).envelopes;
    bodies.push(envelopes.length);
    const receipts = envelopes.map(({ envelope }) => {
      const envelope_id = envelope.slice(5);
      return { envelope_id, reason: null, sha256: "ab", received_at: "", ...say(envelope_id) };
    });
    return { kind: "ok", json: { receipts } };
  };
}

async function left(tables: Tables): Promise<(string | null)[][]> {
  return (await tables.all("outbox")).map((each) => [each.envelope_id, each.trouble]);
}

describe("sending the outbox", () => {
  test.each(["stored", "duplicate"])("%s with the right hash: the envelope is forgotten", async (status) => {
    const tables = await outboxOf("1");
    const report = await sendOutbox(tables, clinic(() => ({ status })), false);
    expect([report.outcomes.map((each) => each.kind), await left(tables)]).toEqual([["received"], []]);
  });

  test("a receipt with another hash keeps the envelope and says so", async () => {
    const tables = await outboxOf("1");
    await sendOutbox(tables, clinic(() => ({ status: "stored", sha256: "cd" })), false);
    expect(await left(tables)).toEqual([["1", "hash"]]);
  });

  test.each(["malformed", "too_large", "check"])("refused as %s: kept with the reason, and not sent again unasked", async (reason) => {
    const [tables, bodies] = [await outboxOf("1"), [] as number[]];
    const refusing = clinic(() => ({ status: "refused", reason }), bodies);
    await sendOutbox(tables, refusing, false);
    await sendOutbox(tables, refusing, false);
    expect([await left(tables), bodies]).toEqual([[["1", reason]], [1]]);
    await sendOutbox(tables, clinic(() => ({ status: "stored" })), true);
    expect(await left(tables)).toEqual([]);
  });

  test("one refused envelope does not block the others", async () => {
    const tables = await outboxOf("1", "2", "3");
    await sendOutbox(tables, clinic((id) => (id === "2" ? { status: "refused", reason: "malformed" } : { status: "stored" })), false);
    expect(await left(tables)).toEqual([["2", "malformed"]]);
  });

  test("a status from a newer server keeps the envelope for later", async () => {
    const tables = await outboxOf("1");
    const report = await sendOutbox(tables, clinic(() => ({ status: "pondered" })), false);
    expect([await left(tables), report.later?.why]).toEqual([[["1", null]], "server"]);
  });

  test("more than twenty go in several posts", async () => {
    const bodies: number[] = [];
    const tables = await outboxOf(...Array.from({ length: 45 }, (_, at) => String(at)));
    await sendOutbox(tables, clinic(() => ({ status: "stored" }), bodies), false);
    expect([bodies, await left(tables)]).toEqual([[20, 20, 5], []]);
  });

  test("a post too large as a whole is sent one by one", async () => {
    const bodies: number[] = [];
    const each = clinic(() => ({ status: "stored" }), bodies);
    const post: Post = async (path, body) => {
      const many = (body as { envelopes: unknown[] }).envelopes.length > 1;
      return many ? { kind: "later", why: "too_large", after_ms: null } : each(path, body);
    };
    const tables = await outboxOf("1", "2");
    await sendOutbox(tables, post, false);
    expect([bodies, await left(tables)]).toEqual([[1, 1], []]);
  });

  const useless: [string, Reply][] = [
    ["no network", { kind: "later", why: "offline", after_ms: null }],
    ["a denial", { kind: "denied" }],
    ["a page instead of receipts", { kind: "ok", json: { hello: 1 } }],
    ["a receipt too few", { kind: "ok", json: { receipts: [{ envelope_id: "1", status: "stored", sha256: "ab" }] } }],
    ["receipts for other envelopes", { kind: "ok", json: { receipts: ["8", "9"].map((envelope_id) => ({ envelope_id, status: "stored", sha256: "ab" })) } }],
    ["receipts that are null", { kind: "ok", json: { receipts: [null, null] } }],
  ];
  test.each(useless)("%s leaves everything as it was", async (_what, reply) => {
    const tables = await outboxOf("1", "2");
    const report = await sendOutbox(tables, async () => reply, false);
    expect([report.outcomes, await left(tables)]).toEqual([[], [["1", null], ["2", null]]]);
    expect(report.later).not.toBeNull();
  });

  test("tries grow apart and are spread", () => {
    expect([0, 1, 2, 3, 9].map((tries) => retryDelay(tries, 0.5))).toEqual([5000, 15000, 60000, 300000, 300000]);
    expect([retryDelay(0, 0), retryDelay(0, 1)]).toEqual([3750, 6250]);
  });
});

describe("one POST", () => {
  const page = (status: number, body: string, type: string, more: Record<string, string> = {}): typeof fetch => {
    return async () => new Response(body, { status, headers: { "content-type": type, ...more } });
  };
  const json = "application/json";
  const cases: [string, typeof fetch, Reply][] = [
    ["an answer", page(200, '{"a":1}', json), { kind: "ok", json: { a: 1 } }],
    ["a denial", page(403, '{"code":"check"}', json), { kind: "denied" }],
    ["a denial by a gateway that speaks JSON", page(403, '{"error":"forbidden"}', json), { kind: "later", why: "server", after_ms: null }],
    ["a sign-in page", page(200, "<html>", "text/html"), { kind: "later", why: "portal", after_ms: null }],
    ["a sign-in page that calls itself JSON", page(200, "<html>", json), { kind: "later", why: "portal", after_ms: null }],
    ["a denial by a network filter", page(403, "<html>", "text/html"), { kind: "later", why: "portal", after_ms: null }],
    ["too large", page(413, "", "text/html"), { kind: "later", why: "too_large", after_ms: null }],
    ["too many", page(429, "{}", json, { "retry-after": "30" }), { kind: "later", why: "busy", after_ms: 30_000 }],
    ["down for a moment", page(503, "", "text/html"), { kind: "later", why: "busy", after_ms: null }],
    ["a fault", page(500, "", "text/html"), { kind: "later", why: "server", after_ms: null }],
    ["a missing route", page(404, "{}", json), { kind: "later", why: "server", after_ms: null }],
    ["no network", () => Promise.reject(new TypeError("failed")), { kind: "later", why: "offline", after_ms: null }],
  ];
  test.each(cases)("%s", async (_what, fetchIt, reply) => {
    expect(await jsonPoster(fetchIt)("/api/due", {})).toEqual(reply);
  });

  test("a server that never answers is a time-out", async () => {
    const never: typeof fetch = (_path, init) => new Promise((_resolve, reject) => init?.signal?.addEventListener("abort", () => reject(new Error("aborted"))));
    expect(await jsonPoster(never, 1)("/api/due", {})).toEqual({ kind: "later", why: "timeout", after_ms: null });
  });

  test("the staff's cookies stay at home, and no address is given away", async () => {
    let seen: RequestInit | undefined;
    await jsonPoster(async (_path, init) => {
      seen = init;
      return new Response("{}", { headers: { "content-type": json } });
    })("/api/due", { a: 1 });
    expect([seen?.credentials, seen?.referrerPolicy, seen?.cache, seen?.body]).toEqual(["omit", "no-referrer", "no-store", '{"a":1}']);
  });
});

describe("asking for the due sheet", () => {
  const ask = (reply: Reply): ReturnType<typeof fetchDueSheet> => fetchDueSheet({ lookup: "L", proof: "P" }, async () => reply, () => Date.parse("2026-01-01T00:00:05Z"));
  const sheet = { revision: 1, nonce: "n", ciphertext: "c" };

  test("the phone's clock is measured against the server's, not corrected", async () => {
    const reply = await ask({ kind: "ok", json: { state: "due", sheet, server_time: "2025-01-01T00:00:00.000Z" } });
    expect(reply).toEqual({ kind: "due", fetched: { state: "due", sheet, clock_skew_ms: 365 * 86_400_000 + 5000 } });
  });

  test.each([
    ["a slow way out", [0, 21_000], 20_000, 0],
    ["a slow way back", [0, 21_000], 1_000, 0],
    ["a clock that is ahead, by what is sure of it", [60_000, 81_000], 20_000, 40_000],
    ["a clock that is behind, by what is sure of it", [0, 1_000], 90_000, -89_000],
  ])("latency alone is never taken for a wrong clock: %s", async (_name, [asked_at, heard_at], server, skew) => {
    const instants = [asked_at, heard_at].map((each) => Date.parse("2026-01-01T00:00:00Z") + (each ?? 0));
    const json = { state: "due", sheet, server_time: new Date(Date.parse("2026-01-01T00:00:00Z") + server).toISOString() };
    const reply = await fetchDueSheet({ lookup: "L", proof: "P" }, async () => ({ kind: "ok", json }), () => instants.shift() ?? NaN);
    expect(reply).toMatchObject({ fetched: { clock_skew_ms: skew } });
  });

  test("only the link and the proof are sent", async () => {
    let sent: unknown;
    const who = { lookup: "L", proof: "P", token: "secret", born: "1950-01-01" };
    await fetchDueSheet(who, async (_path, body) => ((sent = body), { kind: "denied" }), () => 0);
    expect(sent).toEqual({ lookup: "L", proof: "P" });
  });

  test.each([
    [{ kind: "denied" }, "check"],
    [{ kind: "ok", json: { state: "due", sheet: null, server_time: "" } }, "later"],
    [{ kind: "ok", json: { state: "strange", sheet, server_time: "" } }, "later"],
    [{ kind: "ok", json: null }, "later"],
    [{ kind: "ok", json: { state: "ended", sheet: null, server_time: "" } }, "due"],
  ] as [Reply, string][])("%j is %s", async (reply, kind) => {
    expect((await ask(reply)).kind).toBe(kind);
  });
});

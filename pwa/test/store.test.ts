import "fake-indexeddb/auto";
import { IDBFactory } from "fake-indexeddb";
import { openDB } from "idb";
import { beforeEach, describe, expect, test, vi } from "vitest";
import { utf8 } from "../src/bytes";
import { openDeviceStore } from "../src/store/device_store";
import { type Draft, findDraft, mergeDrafts, newDraft, saveDraft } from "../src/store/drafts";
import { newStorageKey } from "../src/store/encrypt";
import { indexedDbTables } from "../src/store/indexed_db";
import { newOutboxRow, putInOutbox, removeReceived } from "../src/store/outbox";
import { listPeople } from "../src/store/people";
import { Conflict, memoryTables, outboxOnDisk, type PersonRow, type Tables } from "../src/store/tables";
import { sheetOf } from "./cast";

const early = "2026-01-01T00:00:00.000Z";
const late = "2026-01-01T00:00:09.000Z";

async function ada(): Promise<PersonRow> {
  const key = await newStorageKey();
  const keys = { due_key: key, answer_key: key, draft_key: key };
  return { lookup: "L", proof: "P", ...keys, state: "due", sheet: null, sent: [], clock_skew_ms: 0, language: null };
}

function withAnswer(draft: Draft, key: string, value: number, at: string): Draft {
  return { ...draft, answers: { ...draft.answers, [key]: { state: "answered", value, first_at: at, last_at: at } } };
}

const envelope = { envelope_id: "E", text: "sealed", sha256: "00" };

beforeEach(() => {
  globalThis.indexedDB = new IDBFactory();
});

const kinds: [string, () => Tables][] = [
  ["IndexedDB", () => indexedDbTables()],
  ["memory", () => memoryTables()],
];

describe.each(kinds)("drafts and outbox in %s", (_kind, make) => {
  test("a draft comes back as it was saved, and nobody reads it without the key", async () => {
    const [tables, person] = [make(), await ada()];
    const saved = await saveDraft(withAnswer(newDraft("F", "L", early), "a/1", 1, early), person, tables);
    expect(await findDraft("F", person, tables)).toEqual(saved);
    expect(await findDraft("F", await ada(), tables)).toBeNull();
    const [row] = await tables.all("drafts");
    expect(new TextDecoder("latin1").decode(row?.box.ciphertext)).not.toContain("answers");
  });

  test("two tabs on one form lose nothing: of each item the later answer counts", async () => {
    const [tables, person] = [make(), await ada()];
    const base = await saveDraft(newDraft("F", "L", early), person, tables);
    await saveDraft(withAnswer(withAnswer(base, "a/1", 1, early), "a/2", 1, late), person, tables);
    const second = await saveDraft(withAnswer(withAnswer(base, "a/2", 0, early), "a/3", 5, early), person, tables);
    const values = Object.entries(second.answers).map(([key, answer]) => [key, "value" in answer ? answer.value : null]);
    expect(Object.fromEntries(values)).toEqual({ "a/1": 1, "a/2": 1, "a/3": 5 });
    expect(await findDraft("F", person, tables)).toEqual(second);
  });

  test("finishing adds the envelope and drops the draft, or does neither", async () => {
    const [tables, person] = [make(), await ada()];
    const mine = await saveDraft(newDraft("F", "L", early), person, tables);
    await saveDraft(withAnswer(mine, "a/1", 1, late), person, tables);
    const row = newOutboxRow(envelope, "F", person, late);
    await expect(putInOutbox(row, mine, tables)).rejects.toThrow(Conflict);
    expect([await tables.all("outbox"), (await tables.all("drafts")).length]).toEqual([[], 1]);
    await putInOutbox(row, (await findDraft("F", person, tables))!, tables);
    expect([await tables.all("outbox"), await tables.all("drafts")]).toEqual([[row], []]);
  });

  test("a draft finished in another tab is not brought back", async () => {
    const [tables, person] = [make(), await ada()];
    const mine = await saveDraft(newDraft("F", "L", early), person, tables);
    await putInOutbox(newOutboxRow(envelope, "F", person, late), mine, tables);
    await expect(saveDraft(withAnswer(mine, "a/1", 1, late), person, tables)).rejects.toThrow(Conflict);
    expect(await tables.all("drafts")).toEqual([]);
  });

  test("a receipt drops the envelope and remembers the form as sent, once", async () => {
    const [tables, person] = [make(), await ada()];
    const row = newOutboxRow(envelope, "F", person, late);
    await tables.write([{ table: "people", put: { ...person, sent: ["F", "G"] } }, { table: "outbox", put: row }]);
    await removeReceived(row, null, tables);
    expect((await tables.get("people", "L"))?.sent).toEqual(["F", "G"]);
    expect(await tables.all("outbox")).toEqual([]);
  });
});

describe("what this phone can keep", () => {
  test("everything, when keys can be stored", async () => {
    expect((await openDeviceStore()).persistence).toBe("all");
  });

  test("sealed forms only, when a key cannot be stored", async () => {
    const clone = vi.spyOn(globalThis, "structuredClone").mockImplementation((value: unknown) => {
      if (value && typeof value === "object" && "draft_key" in value) throw new DOMException("no keys", "DataCloneError");
      return value as never;
    });
    const { persistence, tables } = await openDeviceStore();
    clone.mockRestore();
    expect(persistence).toBe("sealed_only");
    await putInOutbox(newOutboxRow(envelope, "F", await ada(), late), newDraft("F", "L", early), tables);
    expect(await indexedDbTables().all("outbox")).toHaveLength(1);
  });

  test("nothing, when there is no storage at all", async () => {
    vi.stubGlobal("indexedDB", undefined);
    expect((await openDeviceStore()).persistence).toBe("nothing");
    vi.unstubAllGlobals();
  });

  test("a row that cannot be stored takes the others of its transaction back", async () => {
    const [tables, person] = [indexedDbTables(), await ada()];
    const impossible = { ...person, language: (() => "") as unknown as string };
    const ops = [{ table: "outbox" as const, put: newOutboxRow(envelope, "F", person, late) }, { table: "people" as const, put: impossible }];
    await expect(tables.write(ops)).rejects.toThrow();
    expect([await tables.all("outbox"), await tables.all("people")]).toEqual([[], []]);
  });

  test("a lost connection is opened again and the write done", async () => {
    const [tables, person] = [indexedDbTables(), await ada()];
    await tables.write([{ table: "people", put: person }]);
    const lost = vi.spyOn(IDBDatabase.prototype, "transaction").mockImplementationOnce(() => {
      throw new DOMException("Connection to Indexed Database server lost. Refresh the page to try again", "UnknownError");
    });
    await tables.write([{ table: "outbox", put: newOutboxRow(envelope, "F", person, late) }]);
    lost.mockRestore();
    expect(await tables.all("outbox")).toHaveLength(1);
  });

  test("in a split store the outbox is on disk and the rest in memory", async () => {
    const [disk, memory] = [memoryTables(), memoryTables()];
    const [tables, person] = [outboxOnDisk(disk, memory), await ada()];
    await tables.write([{ table: "people", put: person }, { table: "outbox", put: newOutboxRow(envelope, "F", person, late) }]);
    expect([(await disk.all("people")).length, (await disk.all("outbox")).length]).toEqual([0, 1]);
    expect([(await memory.all("people")).length, (await memory.all("outbox")).length]).toEqual([1, 0]);
  });
});

test("merging keeps the earlier opening time and the place of the tab that saves", () => {
  const mine: Draft = { ...newDraft("F", "L", late), at: { page: "who" }, seq: 1 };
  const merged = mergeDrafts(mine, { ...newDraft("F", "L", early), at: null, seq: 4 });
  expect([merged.opened_at, merged.at, merged.seq]).toEqual([early, { page: "who" }, 4]);
});

/** Written with the names that phones in the field have, none of them taken from the code, so that a renaming of one fails. */
test("what a phone stored before is read: tables, rows, draft and sheet", async () => {
  const key = await crypto.subtle.generateKey({ name: "AES-GCM", length: 256 }, false, ["encrypt", "decrypt"]);
  const encrypted = async (purpose: string, value: object): Promise<object> => {
    const iv = crypto.getRandomValues(new Uint8Array(12));
    const how = { name: "AES-GCM", iv, additionalData: utf8(purpose) };
    return { iv, ciphertext: new Uint8Array(await crypto.subtle.encrypt(how, key, utf8(JSON.stringify(value)))) };
  };
  const old = await openDB("yearmark", 1, {
    upgrade(db) {
      db.createObjectStore("people", { keyPath: "lookup" });
      db.createObjectStore("drafts", { keyPath: "form_id" });
      db.createObjectStore("outbox", { keyPath: "envelope_id" });
    },
  });
  const sheet = sheetOf(["left"]);
  const keys = { due_key: key, answer_key: key, draft_key: key };
  const person = { lookup: "L", proof: "P", ...keys, state: "due", sent: ["G"], clock_skew_ms: 5, language: "es" };
  await old.put("people", { ...person, sheet: await encrypted("yearmark sheet L", sheet) });
  const answers = { "since@1/1": { state: "answered", value: 0, first_at: early, last_at: late, read: true } };
  const draft = { form_id: "F", opened_at: early, at: { page: "item", key: "since@1/2" }, answers, answered_by: null, reviewed: false };
  await old.put("drafts", { form_id: "F", lookup: "L", seq: 3, box: await encrypted("yearmark draft F", draft) });
  const waiting = { envelope_id: "E", form_id: "H", lookup: "L", proof: "P", text: "sealed", sha256: "00", saved_at: early, trouble: "hash" };
  await old.put("outbox", waiting);
  old.close();

  const { tables } = await openDeviceStore();
  const [read] = await listPeople(tables);
  expect(read?.sheet).toEqual(sheet);
  expect(read?.row).toMatchObject({ lookup: "L", proof: "P", state: "due", sent: ["G"], clock_skew_ms: 5, language: "es" });
  expect(await findDraft("F", read!.row, tables)).toEqual({ ...draft, seq: 3, key: "F" });
  expect(await tables.all("outbox")).toEqual([waiting]);
});

import "fake-indexeddb/auto";
import { IDBFactory } from "fake-indexeddb";
import { beforeEach, describe, expect, test } from "vitest";
import { answeredBy, back, changeItem, decline, mayLeave, next, openForm, pick, toReview, warningRead } from "../src/app/answering";
import { finish, sendNow } from "../src/app/finishing";
import { arrive, begin, openWithBirth, refresh, tryAgain } from "../src/app/opening";
import type { Phone } from "../src/app/phone";
import type { Value } from "../src/form/items";
import { chooseStorage, type Storage } from "../src/store/choose";
import { memoryTables } from "../src/store/tables";
import { BORN, Clinic, phoneOn, TOKEN } from "./clinic";

let storage: Storage;
beforeEach(async () => {
  globalThis.indexedDB = new IDBFactory();
  storage = await chooseStorage();
});

async function proven(clinic: Clinic, planned?: (() => void)[]): Promise<Phone> {
  const phone = phoneOn(clinic, storage, planned);
  await arrive(phone, TOKEN);
  await begin(phone);
  await openWithBirth(phone, BORN);
  return phone;
}

async function start(phone: Phone, at = 0): Promise<void> {
  const person = phone.view.people[0]!;
  await openForm(phone, person, person.sheet!.forms[at]!);
}

async function give(phone: Phone, key: string, value: Value): Promise<void> {
  const step = phone.view.open!.steps.find((each) => each.key === key)!;
  await pick(phone, key, value);
  await next(phone, step);
}

async function answerAll(phone: Phone): Promise<void> {
  const answers: [string, Value][] = [["since@1/1", 0], ["since@1/2", 12], ["since@1/3", 4], ["sst@1/1", 1], ["sst@1/2", 0]];
  for (const [key, value] of answers) await give(phone, key, value);
  await answeredBy(phone, "patient");
  await toReview(phone);
}

const screenOf = (phone: Phone): object => {
  const { row: _row, ...rest } = phone.view.screen as { row?: object };
  return rest;
};

describe("opening a link", () => {
  test("nothing is asked of the clinic before the tap and the date; then link and date are forgotten", async () => {
    const clinic = await Clinic.open("left");
    const phone = phoneOn(clinic, storage);
    await arrive(phone, TOKEN);
    expect([screenOf(phone), clinic.asked]).toEqual([{ name: "start" }, 0]);
    await begin(phone);
    expect([screenOf(phone), clinic.asked]).toEqual([{ name: "birth" }, 0]);
    await openWithBirth(phone, BORN);
    expect([screenOf(phone), phone.token, phone.pending]).toEqual([{ name: "forms" }, null, null]);
    expect(phone.view.people[0]?.row.clock_skew_ms).toBe(1500);
  });

  test("a wrong date says check and counts the tries; the right one then opens", async () => {
    const clinic = await Clinic.open("left");
    const phone = phoneOn(clinic, storage);
    await arrive(phone, TOKEN);
    await begin(phone);
    await openWithBirth(phone, "1952-02-28");
    await openWithBirth(phone, "1952-02-27");
    expect(screenOf(phone)).toEqual({ name: "check", tries: 2 });
    await openWithBirth(phone, BORN);
    expect(screenOf(phone)).toEqual({ name: "forms" });
  });

  test("without network it says so, and a retry needs no date again", async () => {
    const clinic = await Clinic.open("left");
    clinic.online = false;
    const phone = await proven(clinic);
    expect(screenOf(phone)).toEqual({ name: "offline", why: "offline" });
    clinic.online = true;
    await tryAgain(phone);
    expect(screenOf(phone)).toEqual({ name: "forms" });
  });

  test.each([["ended", "ended"], ["replaced", "replaced"]])("a link that is %s says so and leaves nothing behind", async (state, name) => {
    const clinic = await Clinic.open();
    clinic.state = state;
    const phone = await proven(clinic);
    expect(screenOf(phone)).toEqual({ name, first_name: "" });
    expect(await storage.tables.all("people")).toEqual([]);
  });

  test("nothing due says so by name", async () => {
    const clinic = await Clinic.open();
    clinic.state = "nothing_due";
    expect(screenOf(await proven(clinic))).toEqual({ name: "nothing", first_name: "Ada" });
  });

  test("a mistyped link is caught before anything is asked", async () => {
    const clinic = await Clinic.open("left");
    const phone = phoneOn(clinic, storage);
    await arrive(phone, `${TOKEN.slice(0, -1)}A`);
    expect([screenOf(phone), clinic.asked]).toEqual([{ name: "mistyped", fault: "check" }, 0]);
  });

  test("a link opened on this phone before needs no date again", async () => {
    const clinic = await Clinic.open("left");
    await proven(clinic);
    const phone = phoneOn(clinic, storage);
    await arrive(phone, "");
    expect(screenOf(phone)).toEqual({ name: "forms" });
    await arrive(phone, TOKEN);
    await begin(phone);
    expect([screenOf(phone), phone.token]).toEqual([{ name: "forms" }, null]);
  });
});

describe("answering", () => {
  test("after a crash on any screen the form goes on at the same item with every answer", async () => {
    const clinic = await Clinic.open("left", "right");
    const phone = await proven(clinic);
    await start(phone);
    await give(phone, "since@1/1", 1);
    await give(phone, "since@1/1a", "2026-03");
    const again = phoneOn(clinic, await chooseStorage());
    clinic.online = false;
    await arrive(again, "");
    expect([...again.view.begun]).toEqual([phone.view.people[0]!.sheet!.forms[0]!.form_id]);
    await start(again);
    expect(screenOf(again)).toEqual({ name: "item", key: "since@1/2" });
    expect(again.view.open?.draft.answers["since@1/1a"]).toMatchObject({ state: "answered", value: "2026-03" });
  });

  test("a warning answer shows the call-now page, also after a crash, and then goes on", async () => {
    const clinic = await Clinic.open("left");
    const phone = await proven(clinic);
    await start(phone);
    await changeItem(phone, "sst@1/2");
    await give(phone, "sst@1/2", 1);
    expect(screenOf(phone)).toEqual({ name: "warning", key: "sst@1/2" });
    const again = phoneOn(clinic, storage);
    await arrive(again, "");
    await start(again);
    expect(screenOf(again)).toEqual({ name: "warning", key: "sst@1/2" });
    await warningRead(again, "sst@1/2");
    expect(screenOf(again)).toEqual({ name: "item", key: "since@1/1" });
  });

  test("an item is left only with an answer that fits, or declined", async () => {
    const phone = await proven(await Clinic.open("left"));
    await start(phone);
    const step = phone.view.open!.steps.find((each) => each.key === "since@1/2")!;
    expect(mayLeave(phone, step)).toBe(false);
    await pick(phone, step.key, 400);
    expect(mayLeave(phone, step)).toBe(false);
    await decline(phone, step.key);
    expect([mayLeave(phone, step), screenOf(phone)]).toEqual([true, { name: "item", key: "since@1/3" }]);
  });

  test("back keeps the answers and ends at the list of forms", async () => {
    const phone = await proven(await Clinic.open("left"));
    await start(phone);
    await give(phone, "since@1/1", 0);
    await back(phone);
    expect([screenOf(phone), phone.view.open?.draft.answers["since@1/1"]?.state]).toEqual([{ name: "item", key: "since@1/1" }, "answered"]);
    await back(phone);
    expect([screenOf(phone), phone.view.open]).toEqual([{ name: "forms" }, null]);
  });

  test("the first time of an answer stays, the last one moves", async () => {
    const phone = await proven(await Clinic.open("left"));
    await start(phone);
    await pick(phone, "since@1/3", 1);
    phone.world.now = () => new Date("2026-11-25T09:00:00.000Z");
    await pick(phone, "since@1/3", 2);
    const answer = phone.view.open?.draft.answers["since@1/3"];
    expect(answer).toEqual({ state: "answered", value: 2, first_at: "2026-11-25T08:00:01.500Z", last_at: "2026-11-25T09:00:00.000Z" });
  });

  test("a disk that refuses blocks nobody, and the page never says saved", async () => {
    const phone = await proven(await Clinic.open("left"));
    await start(phone);
    phone.world.storage = { ...storage, tables: { ...storage.tables, write: () => Promise.reject(new DOMException("full", "QuotaExceededError")) } };
    await give(phone, "since@1/1", 0);
    expect([screenOf(phone), phone.view.kept]).toEqual([{ name: "item", key: "since@1/2" }, "unsaved"]);
  });

  test("where keys cannot be kept the page says nothing is saved", async () => {
    storage = { tables: memoryTables(), keeps: "nothing" };
    const phone = await proven(await Clinic.open("left"));
    await start(phone);
    await give(phone, "since@1/1", 0);
    expect([screenOf(phone), phone.view.kept]).toEqual([{ name: "item", key: "since@1/2" }, "none"]);
  });
});

describe("finishing", () => {
  test("what was answered is what the clinic opens, and the phone forgets it on the receipt", async () => {
    const clinic = await Clinic.open("left");
    const phone = await proven(clinic);
    await start(phone);
    await answerAll(phone);
    expect(screenOf(phone)).toEqual({ name: "review" });
    await finish(phone);
    expect(screenOf(phone)).toEqual({ name: "received" });
    const values = clinic.received[0]!.parts.map((part: { answers: Record<string, { value?: Value }> }) => Object.values(part.answers).map((each) => each.value ?? null));
    expect(values).toEqual([[0, 12, 4, null, null, null], [1, 0]]);
    expect([await storage.tables.all("outbox"), await storage.tables.all("drafts")]).toEqual([[], []]);
  });

  test("a form received is not offered again, even before the clinic's sheet says so", async () => {
    const clinic = await Clinic.open("left");
    const phone = await proven(clinic);
    await start(phone);
    await answerAll(phone);
    await finish(phone);
    await refresh(phone);
    expect(phone.view.people[0]?.row.sent).toEqual([clinic.sheet.forms[0]!.form_id]);
  });

  test("without network it is saved and no more; it goes out by the planned retry", async () => {
    const planned: (() => void)[] = [];
    const clinic = await Clinic.open("left");
    const phone = await proven(clinic, planned);
    await start(phone);
    await answerAll(phone);
    clinic.online = false;
    await finish(phone);
    expect([screenOf(phone), phone.view.held_up, planned.length]).toEqual([{ name: "saved" }, "offline", 1]);
    const again = phoneOn(clinic, storage);
    clinic.online = true;
    await arrive(again, "");
    await sendNow(again, false);
    expect([clinic.received.length, again.view.outbox]).toEqual([1, []]);
  });

  test.each([
    [{ status: "refused", reason: "check", sha256: null }, "check"],
    [{ status: "stored", sha256: "00" }, "hash"],
  ])("%j is never called received, and the envelope stays", async (change, trouble) => {
    const clinic = await Clinic.open("left");
    const phone = await proven(clinic);
    await start(phone);
    await answerAll(phone);
    clinic.spoil = (receipt) => ({ ...receipt, ...change });
    await finish(phone);
    expect([screenOf(phone), (await storage.tables.all("outbox")).length]).toEqual([{ name: "refused", trouble }, 1]);
    clinic.spoil = (receipt) => receipt;
    await sendNow(phone, true);
    expect([screenOf(phone), await storage.tables.all("outbox")]).toEqual([{ name: "received" }, []]);
  });

  test("when the disk refuses the envelope the page asks to stay open, and the answers still reach the clinic", async () => {
    const clinic = await Clinic.open("left");
    const phone = await proven(clinic);
    await start(phone);
    await answerAll(phone);
    clinic.online = false;
    const { tables } = storage;
    const full = new DOMException("full", "QuotaExceededError");
    phone.world.storage = { ...storage, tables: { ...tables, get: tables.get.bind(tables), all: tables.all.bind(tables), write: () => Promise.reject(full) } };
    await finish(phone);
    expect(screenOf(phone)).toEqual({ name: "unsaved" });
    phone.world.storage = storage;
    clinic.online = true;
    await sendNow(phone, false);
    expect([screenOf(phone), clinic.received.length, await tables.all("drafts")]).toEqual([{ name: "received" }, 1, []]);
  });

  test("a form finished in another window is not finished twice", async () => {
    const clinic = await Clinic.open("left");
    const [one, other] = [await proven(clinic), phoneOn(clinic, storage)];
    await start(one);
    await answerAll(one);
    await arrive(other, "");
    await start(other);
    await finish(other);
    await finish(one);
    expect([screenOf(one), one.view.note, clinic.received.length]).toEqual([{ name: "forms" }, "elsewhere", 1]);
  });

  test("when the sealing part cannot be loaded the answers stay and the page says so", async () => {
    const phone = await proven(await Clinic.open("left"));
    await start(phone);
    await answerAll(phone);
    phone.world.loadSeal = () => Promise.reject(new TypeError("not found"));
    await finish(phone);
    expect([screenOf(phone), phone.view.note, (await storage.tables.all("drafts")).length]).toEqual([{ name: "review" }, "seal_failed", 1]);
  });

  test("when the words change halfway, the form goes on in those it was begun in and names them", async () => {
    const clinic = await Clinic.open("left");
    const phone = await proven(clinic);
    await start(phone);
    await give(phone, "since@1/1", 0);
    clinic.sheet = structuredClone({ ...clinic.sheet, revision: 4 });
    clinic.sheet.texts["sst@1"]!["en"]!.text_id = "sst@1/en/newer";
    const again = phoneOn(clinic, storage);
    await arrive(again, "");
    await refresh(again);
    await start(again);
    await answerAll(again);
    await finish(again);
    const { sheet_revision, parts } = clinic.received[0]!;
    expect([sheet_revision, parts.map((part: { text_id: string }) => part.text_id)]).toEqual([4, ["since@1/en/x", "sst@1/en/x"]]);
  });

  test("a link that ended meanwhile keeps a form that was begun, and it can still be sent", async () => {
    const clinic = await Clinic.open("left");
    const phone = await proven(clinic);
    await start(phone);
    await answerAll(phone);
    clinic.state = "ended";
    const again = phoneOn(clinic, storage);
    await arrive(again, "");
    await refresh(again);
    expect(again.view.people[0]?.sheet?.forms[0]?.gone).toBe(true);
    await start(again);
    await finish(again);
    expect([screenOf(again), clinic.received.length]).toEqual([{ name: "received" }, 1]);
  });
});

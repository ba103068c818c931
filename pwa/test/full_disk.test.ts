/** A disk that is full, or that answers nothing at all: the screen comes, what is in memory goes out, and nothing is called saved. */
import "fake-indexeddb/auto";
import { IDBFactory } from "fake-indexeddb";
import { beforeEach, describe, expect, test, vi } from "vitest";
import { leaveForm } from "../src/app/answering";
import type { App } from "../src/app/app";
import { finishForm, sendNow } from "../src/app/finishing";
import { refreshSheets, showFirstScreen } from "../src/app/opening";
import { type DeviceStore, openDeviceStore } from "../src/store/device_store";
import { answerAll, give, provenOn, screenOf, start } from "./answering";
import { appOn, Clinic } from "./clinic";

const refuse = (): Promise<never> => Promise.reject(new DOMException("full", "QuotaExceededError"));
const lost = (): Promise<never> => Promise.reject(new DOMException("Internal error opening backing store", "UnknownError"));

let deviceStore: DeviceStore;
beforeEach(async () => {
  globalThis.indexedDB = new IDBFactory();
  deviceStore = await openDeviceStore();
});

/** Reads what is there and takes nothing more. */
const full = (): DeviceStore => ({ ...deviceStore, tables: { get: (...what) => deviceStore.tables.get(...what), all: (table) => deviceStore.tables.all(table), write: refuse } });
const dead = (): DeviceStore => ({ ...deviceStore, tables: { get: lost, all: lost, write: lost } });

async function atReview(clinic: Clinic): Promise<App> {
  const app = await provenOn(clinic, deviceStore);
  await start(app);
  await answerAll(app);
  return app;
}

describe.each([
  ["full", full, true],
  ["dead", dead, false],
])("a disk that is %s at Send", (_how, broken, begun_kept) => {
  test("the form is sent and received, and nobody is asked for it again", async () => {
    const clinic = await Clinic.open("left");
    const app = await atReview(clinic);
    app.context.deviceStore = broken();
    await finishForm(app);
    expect([screenOf(app), clinic.received.length, app.view.outbox, app.view.open]).toEqual([{ name: "received" }, 1, [], null]);
    expect(app.view.people[0]?.row.sent).toEqual([clinic.sheet.forms[0]!.form_id]);
  });

  test("without network the screen says that only this page has it, and the next try sends it", async () => {
    const clinic = await Clinic.open("left");
    const app = await atReview(clinic);
    app.context.deviceStore = broken();
    clinic.online = false;
    await finishForm(app);
    expect([screenOf(app), app.view.in_memory.size, app.view.send_failure]).toEqual([{ name: "unsaved", begun_kept }, 1, "offline"]);
    clinic.online = true;
    await sendNow(app, false);
    expect([screenOf(app), clinic.received.length]).toEqual([{ name: "received" }, 1]);
  });

  test("once there is room the envelope is written, and only then called saved", async () => {
    const clinic = await Clinic.open("left");
    const app = await atReview(clinic);
    app.context.deviceStore = broken();
    clinic.online = false;
    await finishForm(app);
    app.context.deviceStore = deviceStore;
    await sendNow(app, false);
    expect([screenOf(app), app.view.in_memory.size, (await deviceStore.tables.all("outbox")).length]).toEqual([{ name: "saved" }, 0, 1]);
  });
});

test("a disk that takes the envelope and does not have it afterwards is not believed", async () => {
  const clinic = await Clinic.open("left");
  const app = await atReview(clinic);
  app.context.deviceStore = { ...full(), tables: { ...full().tables, write: async () => undefined } };
  clinic.online = false;
  await finishForm(app);
  expect(screenOf(app)).toEqual({ name: "unsaved", begun_kept: true });
});

test("a form left for the list with answers that the disk refused goes on with all of them", async () => {
  const app = await provenOn(await Clinic.open("left"), deviceStore);
  await start(app);
  await give(app, "since@1/1", 0);
  app.context.deviceStore = full();
  await give(app, "since@1/2", 12);
  await leaveForm(app, null);
  await start(app);
  expect(Object.keys(app.view.open?.draft.answers ?? {})).toEqual(["since@1/1", "since@1/2"]);
});

test("a link is opened, answered and sent though the disk takes nothing from the start", async () => {
  const clinic = await Clinic.open("left");
  const app = await provenOn(clinic, full());
  expect([screenOf(app), app.view.people.length]).toEqual([{ name: "forms" }, 1]);
  await start(app);
  await answerAll(app);
  await finishForm(app);
  await refreshSheets(app);
  expect([screenOf(app), clinic.received.length, app.inMemory.people.size]).toEqual([{ name: "received" }, 1, 1]);
});

test("a receipt that the disk does not note is a receipt: the form is not offered again, and goes out once more at the next opening", async () => {
  const clinic = await Clinic.open("left");
  const app = await atReview(clinic);
  clinic.online = false;
  await finishForm(app);
  clinic.online = true;
  app.context.deviceStore = full();
  await sendNow(app, false);
  expect([screenOf(app), app.view.outbox, app.view.people[0]?.row.sent.length]).toEqual([{ name: "received" }, [], 1]);
  const again = appOn(clinic, deviceStore);
  await showFirstScreen(again, "");
  await sendNow(again, true);
  expect([again.view.outbox, clinic.received.length]).toEqual([[], 2]);
});

test("what lies on a disk that is full at the start is read and sent", async () => {
  const clinic = await Clinic.open("left");
  const app = await atReview(clinic);
  clinic.online = false;
  await finishForm(app);
  clinic.online = true;
  const put = vi.spyOn(IDBObjectStore.prototype, "put").mockImplementation(() => {
    throw new DOMException("full", "QuotaExceededError");
  });
  const again = appOn(clinic, await openDeviceStore());
  await showFirstScreen(again, "");
  expect([screenOf(again), again.view.outbox.length]).toEqual([{ name: "forms" }, 1]);
  await sendNow(again, true);
  put.mockRestore();
  expect(clinic.received.length).toBe(1);
});

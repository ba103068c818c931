/** The browser takes the storage away while the page is open: the page's copy is written again, and no missing row counts as finished. */
import "fake-indexeddb/auto";
import { IDBFactory } from "fake-indexeddb";
import { beforeEach, expect, test } from "vitest";
import { answerItem } from "../src/app/answering";
import type { App } from "../src/app/app";
import { readDeviceStore } from "../src/app/device";
import { finishForm, sendNow } from "../src/app/finishing";
import { showFirstScreen } from "../src/app/opening";
import { restoreFromPage } from "../src/app/restoring";
import { type DeviceStore, openDeviceStore } from "../src/store/device_store";
import { KEY_OF, type TableName, type WriteOp } from "../src/store/tables";
import { answerAll, give, provenOn, screenOf, start } from "./answering";
import { appOn, Clinic } from "./clinic";

let deviceStore: DeviceStore;
beforeEach(async () => {
  globalThis.indexedDB = new IDBFactory();
  deviceStore = await openDeviceStore();
});

async function wipe(): Promise<void> {
  const ops: WriteOp[] = [];
  for (const table of ["people", "drafts", "outbox"] as TableName[]) {
    const rows = (await deviceStore.tables.all(table)) as unknown as Record<string, string>[];
    ops.push(...rows.map((row): WriteOp => ({ table, remove: row[KEY_OF[table]]! })));
  }
  await deviceStore.tables.write(ops);
}

async function begun(clinic: Clinic): Promise<App> {
  const app = await provenOn(clinic, deviceStore);
  await start(app);
  await give(app, "since@1/1", 0);
  return app;
}

/** At the review, offline. */
async function answered(clinic: Clinic): Promise<App> {
  const app = await provenOn(clinic, deviceStore);
  await start(app);
  await answerAll(app);
  clinic.online = false;
  return app;
}

test("the next answer brings all answers back to the disk, with what opens them", async () => {
  const clinic = await Clinic.open("left");
  const app = await begun(clinic);
  await wipe();
  await give(app, "since@1/2", 12);
  expect([screenOf(app), app.view.note, app.view.draft_status]).toEqual([{ name: "item", key: "since@1/3" }, null, "saved"]);
  const again = appOn(clinic, deviceStore);
  await showFirstScreen(again, "");
  await start(again);
  expect(Object.keys(again.view.open?.draft.answers ?? {})).toEqual(["since@1/1", "since@1/2"]);
});

test("a page that hears of it writes its answers again without a tap", async () => {
  const app = await begun(await Clinic.open("left"));
  await wipe();
  await restoreFromPage(app);
  expect([(await deviceStore.tables.all("drafts")).length, (await deviceStore.tables.all("people")).length, app.view.draft_status]).toEqual([1, 1, "saved"]);
});

test("at Send the form is sealed, stored and only then called saved", async () => {
  const app = await answered(await Clinic.open("left"));
  await wipe();
  await finishForm(app);
  expect([screenOf(app), (await deviceStore.tables.all("outbox")).length]).toEqual([{ name: "saved" }, 1]);
});

test("when it happens during sealing the form is sealed once more, and one envelope waits", async () => {
  const app = await answered(await Clinic.open("left"));
  const { loadSeal } = app.context;
  app.context.loadSeal = async () => {
    app.context.loadSeal = loadSeal;
    await wipe();
    return loadSeal();
  };
  await finishForm(app);
  expect([screenOf(app), (await deviceStore.tables.all("outbox")).length, await deviceStore.tables.all("drafts")]).toEqual([{ name: "saved" }, 1, []]);
});

test("what another window answers during sealing goes out too", async () => {
  const clinic = await Clinic.open("left");
  const app = await answered(clinic);
  const other = appOn(clinic, deviceStore);
  await showFirstScreen(other, "");
  await start(other);
  const { loadSeal } = app.context;
  app.context.loadSeal = async () => {
    app.context.loadSeal = loadSeal;
    other.context.now = () => new Date("2026-11-25T08:00:02.000Z");
    await answerItem(other, "since@1/3", 9);
    return loadSeal();
  };
  clinic.online = true;
  await finishForm(app);
  expect([screenOf(app), clinic.received[0]?.parts[0].answers["3"].value]).toEqual([{ name: "received" }, 9]);
});

test("an envelope that is gone is not called saved; it is written again, and sent", async () => {
  const clinic = await Clinic.open("left");
  const app = await answered(clinic);
  await finishForm(app);
  await wipe();
  await readDeviceStore(app);
  expect([screenOf(app), app.view.in_memory.size]).toEqual([{ name: "unsaved", begun_kept: false }, 1]);
  await restoreFromPage(app);
  expect([screenOf(app), (await deviceStore.tables.all("outbox")).length]).toEqual([{ name: "saved" }, 1]);
  clinic.online = true;
  await sendNow(app, false);
  expect([screenOf(app), clinic.received.length]).toEqual([{ name: "received" }, 1]);
});

test("a form that another window has sent is finished, and not written again", async () => {
  const clinic = await Clinic.open("left");
  const app = await begun(clinic);
  const other = appOn(clinic, deviceStore);
  await showFirstScreen(other, "");
  await start(other);
  await answerAll(other);
  await finishForm(other);
  await answerItem(app, "since@1/2", 12);
  expect([screenOf(app), app.view.note, await deviceStore.tables.all("drafts")]).toEqual([{ name: "forms" }, "elsewhere", []]);
});

test("with nothing left to answer or to send, a list of forms becomes the page without a link", async () => {
  const app = await provenOn(await Clinic.open("left"), deviceStore);
  await wipe();
  await restoreFromPage(app);
  expect(screenOf(app)).toEqual({ name: "nolink" });
});

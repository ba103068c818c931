/** Answers that wait for the network: the browser is asked to keep and to send them, and the page tries again by itself. */
import "fake-indexeddb/auto";
import { IDBFactory } from "fake-indexeddb";
import { beforeEach, expect, test } from "vitest";
import { leaveForm } from "../src/app/answering";
import { finishForm, sendNow } from "../src/app/finishing";
import { retryOpening } from "../src/app/opening";
import { type DeviceStore, openDeviceStore } from "../src/store/device_store";
import { sendOutbox } from "../src/sync/send";
import { answerAll, provenOn, screenOf, start } from "./answering";
import { Clinic } from "./clinic";

let deviceStore: DeviceStore;
beforeEach(async () => {
  globalThis.indexedDB = new IDBFactory();
  deviceStore = await openDeviceStore();
});

test("a link opened without network opens by itself once there is one", async () => {
  const planned: (() => void)[] = [];
  const clinic = await Clinic.open("left");
  clinic.online = false;
  const app = await provenOn(clinic, deviceStore, planned);
  expect([screenOf(app), planned.length]).toEqual([{ name: "offline", why: "offline" }, 1]);
  await retryOpening(app);
  expect([screenOf(app), planned.length]).toEqual([{ name: "offline", why: "offline" }, 2]);
  clinic.online = true;
  await retryOpening(app);
  expect(screenOf(app)).toEqual({ name: "forms" });
  await retryOpening(app);
  expect(clinic.asked).toBe(1);
});

test("the browser is asked to keep a form that was left begun, and one that waits, but not one that was received at once", async () => {
  const clinic = await Clinic.open("left", "right");
  const app = await provenOn(clinic, deviceStore);
  let asked = 0;
  app.context.askToKeep = async () => {
    asked += 1;
    return true;
  };
  await start(app);
  await answerAll(app);
  await finishForm(app);
  expect([screenOf(app), asked]).toEqual([{ name: "received" }, 0]);
  await start(app, 1);
  await leaveForm(app, null);
  expect(asked).toBe(1);
  clinic.online = false;
  await start(app, 1);
  await answerAll(app);
  await finishForm(app);
  expect([screenOf(app), asked, app.view.sends_alone]).toEqual([{ name: "saved" }, 2, true]);
});

test("what the worker has sent without the page, the page shows as received and does not send again", async () => {
  const clinic = await Clinic.open("left");
  const app = await provenOn(clinic, deviceStore);
  await start(app);
  await answerAll(app);
  clinic.online = false;
  await finishForm(app);
  clinic.online = true;
  await sendOutbox(deviceStore.tables, clinic.post, false);
  await sendNow(app, false);
  expect([screenOf(app), clinic.received.length, app.view.people[0]?.sheet?.forms.length]).toEqual([{ name: "received" }, 1, 1]);
});

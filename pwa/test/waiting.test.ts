/** Answers that wait for the network: the browser is asked to keep and to send them, and the page tries again by itself. */
import "fake-indexeddb/auto";
import { IDBFactory } from "fake-indexeddb";
import { beforeEach, expect, test, vi } from "vitest";
import { leaveForm } from "../src/app/answering";
import { finishForm, sendNow } from "../src/app/finishing";
import { retryOpening } from "../src/app/opening";
import { ComeAgain } from "../src/screens/come_again";
import { type DeviceStore, openDeviceStore } from "../src/store/device_store";
import type { PostFailure } from "../src/sync/http";
import { sendOutbox } from "../src/sync/send";
import { answerAll, provenOn, screenOf, start } from "./answering";
import { Clinic } from "./clinic";
import { drawn } from "./drawn";

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

test("a form that met a fault of the server goes out by itself once it answers, tried again after growing pauses", async () => {
  vi.useFakeTimers({ toFake: ["setTimeout", "clearTimeout"] });
  const clinic = await Clinic.open("left");
  const app = await provenOn(clinic, deviceStore);
  const pauses: number[] = [];
  app.context.setTimer = (work, ms) => {
    pauses.push(ms);
    const timer = setTimeout(work, ms);
    return () => clearTimeout(timer);
  };
  let tries = 0;
  app.context.post = async () => {
    tries += 1;
    return { kind: "later", why: "server", after_ms: null };
  };
  await start(app);
  await answerAll(app);
  await finishForm(app);
  for (const made of [1, 2, 3, 4]) {
    expect([screenOf(app), tries]).toEqual([{ name: "saved" }, made]);
    await vi.advanceTimersByTimeAsync(pauses[made - 1]! - 1);
    expect(tries).toBe(made);
    if (made === 4) app.context.post = clinic.post;
    await vi.advanceTimersByTimeAsync(1);
    await vi.waitFor(() => expect([app.view.sending, pauses.length]).toEqual([false, Math.min(made + 1, 4)]));
  }
  expect(pauses).toEqual([5_000, 15_000, 60_000, 300_000]);
  expect([screenOf(app), clinic.received.length]).toEqual([{ name: "received" }, 1]);
  vi.useRealTimers();
});

test("the browser's own sending is promised only where the network is what is missing", async () => {
  const clinic = await Clinic.open("left");
  const app = await provenOn(clinic, deviceStore);
  const said = (send_failure: PostFailure): string => {
    app.change({ sends_alone: true, send_failure });
    return drawn(ComeAgain({ app, view: app.view, t: (key) => `[${key}]` })).words;
  };
  expect(said("offline")).toBe("[again_alone]");
  expect(said("server")).toBe("[offline_keep][again_soon]");
});

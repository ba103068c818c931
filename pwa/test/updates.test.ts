/** A new version takes over, and loads the page anew, only where that costs nobody an answer. */
import { afterEach, beforeEach, expect, test, vi } from "vitest";
import { goToList } from "../src/app/answering";
import type { App } from "../src/app/app";
import { finishForm } from "../src/app/finishing";
import { keepUpdated } from "../src/app_updates";
import { memoryTables, type Tables } from "../src/store/tables";
import { answerAll, give, provenOn, start } from "./answering";
import { Clinic } from "./clinic";

beforeEach(() => void vi.stubGlobal("document", { documentElement: { dataset: {} } }));
afterEach(() => void vi.unstubAllGlobals());

/** Whether a version that waits is let in now. */
async function letsIn(app: App): Promise<boolean> {
  const postMessage = vi.fn();
  const registration = { waiting: { postMessage }, addEventListener: () => undefined, update: async () => undefined };
  const container = { controller: {}, addEventListener: () => undefined, register: async () => registration };
  await keepUpdated(app, container as unknown as ServiceWorkerContainer);
  return postMessage.mock.calls.length === 1;
}

/** A form is begun; then the disk takes nothing any more. */
async function onFullDisk(clinic: Clinic): Promise<App> {
  const tables = memoryTables();
  const app = await provenOn(clinic, { tables, persistence: "all" });
  expect(await letsIn(app)).toBe(true);
  await start(app);
  const write: Tables["write"] = () => Promise.reject(new DOMException("full", "QuotaExceededError"));
  app.context.deviceStore = { tables: { ...tables, write }, persistence: "all" };
  return app;
}

test("on the list while a begun form lies only in this page, it waits", async () => {
  const app = await onFullDisk(await Clinic.open("left"));
  await give(app, "since@1/1", 0);
  await goToList(app);
  expect([app.view.screen.name, app.inMemory.drafts.size, await letsIn(app)]).toEqual(["forms", 1, false]);
});

test("on the list while a sealed form lies only in this page, it waits", async () => {
  const clinic = await Clinic.open("left");
  const app = await onFullDisk(clinic);
  await answerAll(app);
  clinic.online = false;
  await finishForm(app);
  app.go({ name: "forms" });
  expect([app.view.in_memory.size, await letsIn(app)]).toEqual([1, false]);
});

test("on the list of a phone that keeps no half-done form, it waits for one that is begun", async () => {
  const app = await provenOn(await Clinic.open("left"), { tables: memoryTables(), persistence: "sealed_only" });
  expect(await letsIn(app)).toBe(true);
  await start(app);
  await give(app, "since@1/1", 0);
  await goToList(app);
  expect([app.view.screen.name, app.view.begun.size, await letsIn(app)]).toEqual(["forms", 1, false]);
});

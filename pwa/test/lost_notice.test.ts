/** That a person died, or wants no more messages, reaches a clinic once more that went back to a copy of its records. */
import "fake-indexeddb/auto";
import { IDBFactory } from "fake-indexeddb";
import { beforeEach, describe, expect, test } from "vitest";
import type { App } from "../src/app/app";
import { sendNow } from "../src/app/finishing";
import { tellClinic } from "../src/app/noticing";
import { refreshSheets, showFirstScreen } from "../src/app/opening";
import { forgetPerson } from "../src/app/people";
import type { NoticeKind } from "../src/form/notice";
import { type DeviceStore, openDeviceStore } from "../src/store/device_store";
import { provenOn } from "./answering";
import { appOn, Clinic } from "./clinic";

const RESTORED = "2026-11-24T08:00:00.000Z";
const AGAIN = "2026-11-25T07:00:00.000Z";

let deviceStore: DeviceStore;
let clinic: Clinic;
let envelopes: string[];
beforeEach(async () => {
  globalThis.indexedDB = new IDBFactory();
  deviceStore = await openDeviceStore();
  clinic = await Clinic.open("left");
  envelopes = [];
  const { post } = clinic;
  clinic.post = async (path, body) => {
    const reply = await post(path, body);
    if (path === "/api/envelopes" && reply.kind === "ok") envelopes.push(...(body as { envelopes: { envelope: string }[] }).envelopes.map((each) => each.envelope));
    return reply;
  };
});

async function told(kind: NoticeKind): Promise<App> {
  const app = await provenOn(clinic, deviceStore);
  const person = app.view.people[0]!;
  app.go({ name: "notice", kind, true_side: null, person, form_id: null, back: app.view.screen });
  await tellClinic(app, { kind, form_id: null, true_side: null }, person);
  app.go({ name: "forms" });
  return app;
}

async function loadedLater(): Promise<App> {
  const app = appOn(clinic, deviceStore);
  await showFirstScreen(app, "");
  return app;
}

const received = (): string[] => clinic.received.map((each) => each["notice"] as string);

describe.each(["died", "stop"] as const)("that ends all messages (%s)", (kind) => {
  test("is sent once more after each restore, the very same envelope, by the page that told it and by one loaded later", async () => {
    const app = await told(kind);
    clinic.restored_at = RESTORED;
    await refreshSheets(app);
    await refreshSheets(app);
    expect([received(), app.view.outbox]).toEqual([[kind, kind], []]);
    clinic.restored_at = AGAIN;
    await refreshSheets(await loadedLater());
    expect([received(), new Set(envelopes).size]).toEqual([[kind, kind, kind], 1]);
    expect(await deviceStore.tables.all("outbox")).toEqual([]);
  });

  test("is not sent again by a clinic that was not restored, or a server that does not tell", async () => {
    const app = await told(kind);
    for (const named of [null, undefined, null]) {
      clinic.restored_at = named;
      await refreshSheets(app);
    }
    expect(received()).toEqual([kind]);
  });
});

test("where the network goes before it is sent once more, it waits on the disk and goes out later", async () => {
  const app = await told("stop");
  clinic.restored_at = RESTORED;
  const { post } = clinic;
  app.context.post = async (path, body) => (path === "/api/due" ? post(path, body) : { kind: "later", why: "offline", after_ms: null });
  await refreshSheets(app);
  expect([received(), (await deviceStore.tables.all("outbox")).length]).toEqual([["stop"], 1]);
  const later = await loadedLater();
  await sendNow(later, false);
  expect([received(), await deviceStore.tables.all("outbox")]).toEqual([["stop", "stop"], []]);
});

test("where the disk refuses, it is sent once more from the page; and by a page loaded later, which cannot know of that", async () => {
  const app = await told("died");
  clinic.restored_at = RESTORED;
  const write = deviceStore.tables.write.bind(deviceStore.tables);
  deviceStore.tables.write = () => Promise.reject(new DOMException("full", "QuotaExceededError"));
  await refreshSheets(app);
  await refreshSheets(app);
  expect(received()).toEqual(["died", "died"]);
  deviceStore.tables.write = write;
  await refreshSheets(await loadedLater());
  expect([received(), new Set(envelopes).size]).toEqual([["died", "died", "died"], 1]);
});

test("where the power goes once it waits, it still waits", async () => {
  await told("died");
  clinic.restored_at = RESTORED;
  const app = await loadedLater();
  const write = deviceStore.tables.write.bind(deviceStore.tables);
  let off = false;
  deviceStore.tables.write = async (ops) => {
    if (off) throw new Error("no power");
    await write(ops);
    off = ops.some((op) => op.table === "people");
  };
  app.context.post = async (path, body) => (off ? { kind: "later", why: "offline", after_ms: null } : clinic.post(path, body));
  await refreshSheets(app);
  deviceStore.tables.write = write;
  const later = await loadedLater();
  await sendNow(later, false);
  expect(received()).toEqual(["died", "died"]);
});

test("of other notices nothing is kept, and of none once the person is forgotten", async () => {
  const app = await told("call_me");
  expect(JSON.stringify(await deviceStore.tables.all("people"))).not.toContain("envelope_id");
  clinic.restored_at = RESTORED;
  await refreshSheets(app);
  expect(received()).toEqual(["call_me"]);
  await forgetPerson(await told("stop"), app.view.people[0]!);
  expect([await deviceStore.tables.all("people"), await deviceStore.tables.all("outbox")]).toEqual([[], []]);
});

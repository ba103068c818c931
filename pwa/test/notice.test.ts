import "fake-indexeddb/auto";
import { IDBFactory } from "fake-indexeddb";
import { beforeEach, describe, expect, test } from "vitest";
import { goBack, openForm } from "../src/app/answering";
import type { App } from "../src/app/app";
import { readDeviceStore } from "../src/app/device";
import { sendNow } from "../src/app/finishing";
import { tellClinic } from "../src/app/noticing";
import { begin, openWithBirthDate, showFirstScreen } from "../src/app/opening";
import { standingOf } from "../src/app/standing";
import { NOTICES, type Notice } from "../src/form/notice";
import { translator } from "../src/i18n";
import { Told } from "../src/screens/told";
import { type DeviceStore, openDeviceStore } from "../src/store/device_store";
import { appOn, BORN, Clinic, TOKEN } from "./clinic";
import { drawn } from "./drawn";

let deviceStore: DeviceStore;
let clinic: Clinic;
beforeEach(async () => {
  globalThis.indexedDB = new IDBFactory();
  deviceStore = await openDeviceStore();
  clinic = await Clinic.open("left");
});

async function onTheList(): Promise<App> {
  const app = appOn(clinic, deviceStore);
  await showFirstScreen(app, TOKEN);
  await begin(app);
  await openWithBirthDate(app, BORN);
  return app;
}

async function say(app: App, notice: Notice): Promise<void> {
  const person = app.view.people[0]!;
  app.go({ name: "notice", kind: notice.kind, true_side: notice.true_side, person, form_id: notice.form_id, back: app.view.screen });
  await tellClinic(app, notice, person);
}

describe("something here is wrong", () => {
  test.each(NOTICES)("%s reaches the clinic sealed as a form is, and marks no form as sent", async (kind) => {
    const app = await onTheList();
    await say(app, { kind, form_id: null, true_side: "right" });
    const common = { format: 1, kind: "notice", notice: kind, form_id: null, sheet_revision: 3, language: "en", build: "test" };
    const rest = { noticed_at: "2026-11-25T08:00:01.500Z", utc_offset_minutes: 0, time_zone: "UTC", clock_skew_ms: 1500 };
    expect(clinic.received).toEqual([{ ...common, true_side: kind === "wrong_side" ? "right" : null, ...rest }]);
    expect([app.view.outbox, app.view.people[0]!.row.sent, app.view.screen.name]).toEqual([[], [], "told"]);
    await goBack(app);
    expect(app.view.screen).toEqual({ name: "forms" });
  });

  test("in a form it names the form, and the form goes on where it was", async () => {
    const app = await onTheList();
    const person = app.view.people[0]!;
    const form = person.sheet!.forms[0]!;
    await openForm(app, person, form);
    const place = app.view.screen;
    await say(app, { kind: "wrong_side", form_id: form.form_id, true_side: null });
    expect([clinic.received[0]!["form_id"], clinic.received[0]!["true_side"]]).toEqual([form.form_id, null]);
    await goBack(app);
    expect([app.view.screen, app.view.open?.form.form_id]).toEqual([place, form.form_id]);
  });

  test("without network it waits on the disk, and goes out of a page that is loaded later", async () => {
    const app = await onTheList();
    clinic.online = false;
    await say(app, { kind: "died", form_id: null, true_side: null });
    expect([app.view.screen.name, app.view.in_memory.size]).toEqual(["told", 0]);
    clinic.online = true;
    const again = appOn(clinic, await openDeviceStore());
    await showFirstScreen(again, "");
    expect(again.view.outbox.map((row) => row.form_id)).toEqual([""]);
    await sendNow(again, false);
    expect([clinic.received.map((each) => each["notice"]), again.view.outbox]).toEqual([["died"], []]);
  });

  test("where the disk refuses, it is sent from memory", async () => {
    const app = await onTheList();
    clinic.online = false;
    const refuse = (): Promise<void> => Promise.reject(new DOMException("full", "QuotaExceededError"));
    const { get, all } = deviceStore.tables;
    app.context.deviceStore = { ...deviceStore, tables: { get: get.bind(deviceStore.tables), all: all.bind(deviceStore.tables), write: refuse } };
    await say(app, { kind: "stop", form_id: null, true_side: null });
    expect([app.view.screen.name, app.view.in_memory.size]).toEqual(["told", 1]);
    clinic.online = true;
    await sendNow(app, false);
    expect(clinic.received.map((each) => each["notice"])).toEqual(["stop"]);
  });
});

describe("what the screen says of a notice", () => {
  const told = (app: App): string => drawn(Told({ app, view: app.view, t: translator("en"), screen: app.view.screen as Parameters<typeof Told>[0]["screen"] })).words;

  test("received only after a receipt for this very notice", async () => {
    const app = await onTheList();
    clinic.online = false;
    await say(app, { kind: "call_me", form_id: null, true_side: null });
    expect(told(app)).toContain("Saved on this phone");
    clinic.online = true;
    await sendNow(app, false);
    expect(told(app)).toContain("Received by the clinic");
  });

  test("that this phone has lost it is not called received; it is kept in this page, and sent", async () => {
    const app = await onTheList();
    clinic.online = false;
    await say(app, { kind: "call_me", form_id: null, true_side: null });
    // A reading of the disk that began before the notice was kept ends after it, and then the browser takes the storage away.
    app.change({ outbox: [] });
    const { envelope_id } = (await deviceStore.tables.all("outbox"))[0]!;
    await deviceStore.tables.write([{ table: "outbox", remove: envelope_id }]);
    expect(told(app)).not.toContain("Received");
    await readDeviceStore(app);
    expect([told(app), [...app.view.in_memory]]).toEqual([expect.stringContaining("Keep this page open"), [envelope_id]]);
    clinic.online = true;
    await sendNow(app, false);
    expect([told(app), clinic.received.length]).toEqual([expect.stringContaining("Received by the clinic"), 1]);
  });
});

test("a form that the clinic looks at by hand says so, and is not offered again", async () => {
  const app = await onTheList();
  const person = app.view.people[0]!;
  const form = person.sheet!.forms[0]!;
  const held = { ...person, sheet: { ...person.sheet!, held: [form.form_id] } };
  expect([standingOf(form, person, app.view), standingOf(form, held, app.view)]).toEqual(["start", "held"]);
});

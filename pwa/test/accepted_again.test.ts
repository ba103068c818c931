/** What a phone does once the clinic accepts again what it refused, and what comes in while it looks. */
import "fake-indexeddb/auto";
import { IDBFactory } from "fake-indexeddb";
import { beforeEach, describe, expect, test } from "vitest";
import type { App } from "../src/app/app";
import { finishForm, sendNow } from "../src/app/finishing";
import { tellClinic } from "../src/app/noticing";
import { begin, openWithBirthDate, refreshSheets, showFirstScreen } from "../src/app/opening";
import { standingOf } from "../src/app/standing";
import { type DeviceStore, openDeviceStore } from "../src/store/device_store";
import type { PersonRow } from "../src/store/tables";
import { answerAll, provenOn, start } from "./answering";
import { formOf } from "./cast";
import { appOn, BORN, Clinic, TOKEN } from "./clinic";

const LEFT = formOf("left").form_id;
const HOUR_MS = 3_600_000;
let deviceStore: DeviceStore;
let clinic: Clinic;

beforeEach(async () => {
  globalThis.indexedDB = new IDBFactory();
  deviceStore = await openDeviceStore();
  clinic = await Clinic.open("left");
});

function standings(app: App): string[] {
  const [person] = app.view.people;
  return person!.sheet!.forms.map((form) => standingOf(form, person!, app.view));
}

async function answer(app: App): Promise<void> {
  await start(app, 0);
  await answerAll(app);
  await finishForm(app);
}

async function onlyRow(): Promise<PersonRow> {
  const [row, ...others] = await deviceStore.tables.all("people");
  expect(others).toEqual([]);
  return row!;
}

const troubles = async (): Promise<unknown[]> => (await deviceStore.tables.all("outbox")).map((row) => row.trouble);

async function loadedLater(hours: number): Promise<App> {
  const app = appOn(clinic, deviceStore);
  const loaded_at = app.context.now().getTime() + hours * HOUR_MS;
  app.context.now = () => new Date(loaded_at);
  await showFirstScreen(app, "");
  return app;
}

describe("a link that was locked, and is unlocked", () => {
  test("sends what was finished meanwhile as soon as the birth date was given", async () => {
    const app = await provenOn(clinic, deviceStore);
    clinic.known = false;
    await answer(app);
    await refreshSheets(app);
    expect([(await onlyRow()).rejected! > 0, await troubles()]).toEqual([true, ["check"]]);
    clinic.known = true;
    const later = appOn(clinic, deviceStore);
    await showFirstScreen(later, TOKEN);
    await begin(later);
    expect(later.view.screen.name).toBe("birth");
    await openWithBirthDate(later, BORN);
    expect([clinic.received.length, standings(later), await troubles()]).toEqual([1, ["received"], []]);
  });

  test("is asked by itself on the next day, and what was finished goes out", async () => {
    const app = await provenOn(clinic, deviceStore);
    clinic.known = false;
    await answer(app);
    await refreshSheets(app);
    clinic.known = true;
    const asked = clinic.asked;
    await refreshSheets(await loadedLater(23));
    expect(clinic.asked).toBe(asked);
    const next = await loadedLater(25);
    await refreshSheets(next);
    expect([clinic.asked, (await onlyRow()).rejected, clinic.received.length, standings(next)]).toEqual([asked + 1, 0, 1, ["received"]]);
  });

  test("is asked by itself also where the clock of the phone was set back since", async () => {
    const app = await provenOn(clinic, deviceStore);
    clinic.known = false;
    await refreshSheets(app);
    clinic.known = true;
    await refreshSheets(await loadedLater(-48));
    expect((await onlyRow()).rejected).toBe(0);
  });
});

test("a form that was held when the app was updated, and settled without being used since, is asked again", async () => {
  const app = await provenOn(clinic, deviceStore);
  await answer(app);
  clinic.sheet = { ...clinic.sheet, held: [LEFT] };
  await refreshSheets(app);
  expect(standings(app)).toEqual(["held"]);
  const { restored_at: _none, sent_with: _nor, lost: _this, rejected: _either, ...before } = await onlyRow();
  await deviceStore.tables.write([{ table: "people", put: before }]);
  clinic.sheet = { ...clinic.sheet, held: [] };
  const updated = await loadedLater(0);
  await refreshSheets(updated);
  expect(standings(updated)).toEqual(["start"]);
});

test("a receipt that comes while a sheet is being kept is not lost", async () => {
  const app = await provenOn(clinic, deviceStore);
  clinic.online = false;
  await answer(app);
  clinic.online = true;
  const { all } = deviceStore.tables;
  let receivedMeanwhile = false;
  deviceStore.tables.all = async (table) => {
    if (table === "drafts" && !receivedMeanwhile) {
      receivedMeanwhile = true;
      await sendNow(app, false);
    }
    return (await all.call(deviceStore.tables, table)) as never;
  };
  await refreshSheets(app);
  expect([receivedMeanwhile, clinic.received.length, standings(app), (await onlyRow()).sent]).toEqual([true, 1, ["received"], [LEFT]]);
});

test("a notice that was refused once, and received then, goes by itself after a restore", async () => {
  const app = await provenOn(clinic, deviceStore);
  clinic.known = false;
  const person = app.view.people[0]!;
  app.go({ name: "notice", kind: "died", true_side: null, person, form_id: null, back: app.view.screen });
  await tellClinic(app, { kind: "died", form_id: null, true_side: null }, person);
  expect(await troubles()).toEqual(["check"]);
  clinic.known = true;
  await sendNow(app, true);
  expect(clinic.received.length).toBe(1);
  clinic.restored_at = "2026-11-24T08:00:00.000Z";
  await refreshSheets(app);
  expect([clinic.received.length, await troubles()]).toEqual([2, []]);
});

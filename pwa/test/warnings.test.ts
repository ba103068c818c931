import "fake-indexeddb/auto";
import { IDBFactory } from "fake-indexeddb";
import { beforeEach, describe, expect, test } from "vitest";
import { answerItem, goBack, goToItem, goToList, goToNext, goToReview, markWarningRead, openForm, setAnsweredBy, stopForNow } from "../src/app/answering";
import type { App } from "../src/app/app";
import { finishForm } from "../src/app/finishing";
import { begin, openWithBirthDate, showFirstScreen } from "../src/app/opening";
import { forgetPerson } from "../src/app/people";
import type { Value } from "../src/form/due_sheet";
import { warningAnswers } from "../src/form/flow";
import { type DeviceStore, openDeviceStore } from "../src/store/device_store";
import { appOn, BORN, Clinic, TOKEN } from "./clinic";

/** Code 1 of this item warns. */
const FEVER = "sst@1/2";
const CALL_NOW = { name: "warning", key: FEVER };

let deviceStore: DeviceStore;
let clinic: Clinic;
beforeEach(async () => {
  globalThis.indexedDB = new IDBFactory();
  deviceStore = await openDeviceStore();
  clinic = await Clinic.open("left");
});

async function start(app: App): Promise<void> {
  const person = app.view.people[0]!;
  await openForm(app, person, person.sheet!.forms[0]!);
}

async function give(app: App, key: string, value: Value): Promise<void> {
  const step = app.view.open!.steps.find((each) => each.key === key)!;
  await answerItem(app, key, value);
  await goToNext(app, step);
}

/** At the review, with no warning answer. */
async function atReview(): Promise<App> {
  const app = appOn(clinic, deviceStore);
  await showFirstScreen(app, TOKEN);
  await begin(app);
  await openWithBirthDate(app, BORN);
  await start(app);
  const answers: [string, Value][] = [["since@1/1", 0], ["since@1/2", 12], ["since@1/3", 4], ["sst@1/1", 1], [FEVER, 0]];
  for (const [key, value] of answers) await give(app, key, value);
  await setAnsweredBy(app, "patient");
  await goToReview(app);
  return app;
}

async function loadedAgain(): Promise<App> {
  const app = appOn(clinic, await openDeviceStore());
  await showFirstScreen(app, "");
  await start(app);
  return app;
}

describe("no form is sent before every call-now page was read", () => {
  test("a warning answer picked from the review and left by Back shows the page, then the review, and can then be sent", async () => {
    const app = await atReview();
    await goToItem(app, FEVER);
    await answerItem(app, FEVER, 1);
    await goBack(app);
    expect(app.view.screen).toEqual(CALL_NOW);
    await goBack(app);
    await goBack(app);
    expect(app.view.screen).toEqual(CALL_NOW);
    await markWarningRead(app, FEVER);
    expect(app.view.screen).toEqual({ name: "review" });
    await finishForm(app);
    expect([app.view.screen.name, clinic.received.length]).toEqual(["received", 1]);
  });

  test("loaded again without network, wherever it was left, the page still comes first; once read it does not come again", async () => {
    const app = await atReview();
    await goToItem(app, FEVER);
    await answerItem(app, FEVER, 1);
    clinic.online = false;
    const again = await loadedAgain();
    expect(again.view.screen).toEqual({ name: "item", key: FEVER });
    await goBack(again);
    const third = await loadedAgain();
    expect(third.view.screen).toEqual(CALL_NOW);
    await markWarningRead(third, FEVER);
    expect((await loadedAgain()).view.screen).toEqual({ name: "review" });
  });

  test("Send itself refuses, also when the answer came from another window", async () => {
    const app = await atReview();
    const other = await loadedAgain();
    await goToItem(other, FEVER);
    other.context.now = () => new Date("2026-11-25T08:05:00.000Z");
    await answerItem(other, FEVER, 1);
    await finishForm(app);
    expect([app.view.screen, app.view.busy, clinic.received]).toEqual([CALL_NOW, false, []]);
    expect(await deviceStore.tables.all("outbox")).toEqual([]);
    await markWarningRead(app, FEVER);
    await finishForm(app);
    expect(clinic.received.length).toBe(1);
  });

  test("the page remembers which form warned until the person is forgotten, and none that did not", async () => {
    const app = await atReview();
    await goToItem(app, FEVER);
    await give(app, FEVER, 1);
    await markWarningRead(app, FEVER);
    await finishForm(app);
    expect(app.view.screen.name).toBe("received");
    expect(app.view.warned.map((open) => warningAnswers(open).map((step) => step.key))).toEqual([[FEVER]]);
    await forgetPerson(app, app.view.people[0]!);
    expect(app.view.warned).toEqual([]);
    clinic = await Clinic.open("left");
    const quiet = await atReview();
    await finishForm(quiet);
    expect([quiet.view.screen.name, quiet.view.warned]).toEqual(["received", []]);
  });

  test("an answer taken back and given anew must be read anew", async () => {
    const app = await atReview();
    await goToItem(app, FEVER);
    await give(app, FEVER, 1);
    await markWarningRead(app, FEVER);
    await goToItem(app, FEVER);
    await give(app, FEVER, 0);
    expect(app.view.screen).toEqual({ name: "review" });
    await goToItem(app, FEVER);
    await answerItem(app, FEVER, 1);
    await goBack(app);
    expect(app.view.screen).toEqual(CALL_NOW);
  });

  test("the menu leads past it neither to the list nor to the words that the page may be closed", async () => {
    for (const leave of [goToList, stopForNow]) {
      const app = await atReview();
      await goToItem(app, FEVER);
      await answerItem(app, FEVER, 1);
      app.go({ name: "menu", back: app.view.screen });
      await leave(app);
      expect(app.view.screen).toEqual(CALL_NOW);
      await markWarningRead(app, FEVER);
      globalThis.indexedDB = new IDBFactory();
      deviceStore = await openDeviceStore();
    }
  });

  test("the menu goes back to the question it was opened on, or to the list with the answers kept", async () => {
    const app = await atReview();
    await goToItem(app, FEVER);
    const place = app.view.screen;
    app.go({ name: "menu", back: place });
    await stopForNow(app);
    expect([app.view.screen, app.view.draft_status]).toEqual([{ name: "stopped", back: place }, "saved"]);
    await goBack(app);
    expect(app.view.screen).toEqual(place);
    app.go({ name: "menu", back: place });
    await goToList(app);
    expect([app.view.screen, app.view.begun.size]).toEqual([{ name: "forms" }, 1]);
  });

  test("where the disk refuses the page comes first all the same", async () => {
    const app = await atReview();
    await goToItem(app, FEVER);
    app.context.deviceStore = { ...deviceStore, tables: { ...deviceStore.tables, write: () => Promise.reject(new DOMException("full", "QuotaExceededError")) } };
    await answerItem(app, FEVER, 1);
    await goBack(app);
    await finishForm(app);
    expect([app.view.screen, app.view.draft_status]).toEqual([CALL_NOW, "unsaved"]);
  });
});

/** The clinic went back to a copy of its records: what came after the copy is asked again, once, under the same link. */
import "fake-indexeddb/auto";
import { IDBFactory } from "fake-indexeddb";
import { beforeEach, describe, expect, test } from "vitest";
import { goToList } from "../src/app/answering";
import type { App } from "../src/app/app";
import { readDeviceStore } from "../src/app/device";
import { finishForm, sendNow } from "../src/app/finishing";
import { begin, refreshSheets, showFirstScreen } from "../src/app/opening";
import { standingOf } from "../src/app/standing";
import { translator } from "../src/i18n";
import { en, enLate } from "../src/i18n/en";
import { es } from "../src/i18n/es";
import { Forms } from "../src/screens/forms";
import { type DeviceStore, openDeviceStore } from "../src/store/device_store";
import { answerAll, give, provenOn, start } from "./answering";
import { formOf } from "./cast";
import { appOn, Clinic, TOKEN } from "./clinic";
import { drawn, unfolded } from "./drawn";

const RESTORED = "2026-11-24T08:00:00.000Z";
const [LEFT, RIGHT] = [formOf("left").form_id, formOf("right").form_id];

let deviceStore: DeviceStore;
let clinic: Clinic;
beforeEach(async () => {
  globalThis.indexedDB = new IDBFactory();
  deviceStore = await openDeviceStore();
  clinic = await Clinic.open("left", "right");
});

function standings(app: App): string[] {
  const person = app.view.people[0]!;
  return person.sheet!.forms.map((form) => standingOf(form, person, app.view));
}

async function answer(app: App, formId: string): Promise<void> {
  await start(app, app.view.people[0]!.sheet!.forms.findIndex((form) => form.form_id === formId));
  await answerAll(app);
  await finishForm(app);
}

/** Both forms are received; the clinic is then as it was before, and lists both again. */
async function lost(): Promise<App> {
  const app = await provenOn(clinic, deviceStore);
  await answer(app, LEFT);
  await answer(app, RIGHT);
  expect(clinic.received.map((each) => each.form_id)).toEqual([LEFT, RIGHT]);
  clinic.restored_at = RESTORED;
  return app;
}

function words(app: App): string {
  const { view } = app;
  return drawn(unfolded(Forms({ app, view, t: translator(view.language, app.catalogues.get(view.language)) }))).words;
}

const loaded = async (app: App): Promise<void> => expect.poll(() => app.privacy).not.toBeNull();

describe("answers that a restored clinic lost", () => {
  test("are asked again in the page that sent them, which says why; once received they are not asked any more", async () => {
    const app = await lost();
    await refreshSheets(app);
    await loaded(app);
    expect(standings(app)).toEqual(["start", "start"]);
    expect(words(app).split(enLate.form_lost)).toHaveLength(3);
    expect(words(app)).not.toContain("another phone");
    await answer(app, LEFT);
    await refreshSheets(app);
    expect(standings(app)).toEqual(["received", "start"]);
    app.go({ name: "forms" });
    expect(words(app).split(enLate.form_lost)).toHaveLength(2);
    expect(clinic.received.map((each) => each.form_id)).toEqual([LEFT, RIGHT, LEFT]);
  });

  test("are asked again in a page that is loaded later, also after the one that learned of it was closed; in the language of the person", async () => {
    await lost();
    for (const language of ["en", "es"]) {
      const app = appOn(clinic, deviceStore);
      await showFirstScreen(app, TOKEN);
      await begin(app);
      await loaded(app);
      await app.setLanguage(language);
      expect(standings(app)).toEqual(["start", "start"]);
      expect(words(app)).toContain(language === "es" ? es.form_lost : enLate.form_lost);
    }
  });

  test("are asked again after each restore, also a second one from the same copy", async () => {
    const app = await lost();
    await refreshSheets(app);
    await answer(app, LEFT);
    clinic.restored_at = "2026-11-25T07:00:00.000Z";
    await refreshSheets(app);
    expect(standings(app)).toEqual(["start", "start"]);
  });

  test("are asked again on a phone that a version before had left its receipts on", async () => {
    await lost();
    const [row] = await deviceStore.tables.all("people");
    const { restored_at: _none, sent_with: _nor, lost: _this, rejected: _either, ...before } = row!;
    await deviceStore.tables.write([{ table: "people", put: before }]);
    const app = appOn(clinic, deviceStore);
    await showFirstScreen(app, TOKEN);
    await begin(app);
    expect(standings(app)).toEqual(["start", "start"]);
  });

  test("are asked again though the words of why cannot be loaded", async () => {
    const app = await lost();
    app.context.loadPrivacy = () => Promise.reject(new TypeError("not found"));
    await refreshSheets(app);
    expect(standings(app)).toEqual(["start", "start"]);
    expect(words(app)).not.toContain("older copy");
  });

  test("are not asked again where the copy had them, or somebody at the clinic looks at them", async () => {
    const app = await lost();
    clinic.sheet = { ...clinic.sheet, forms: [formOf("left")], held: [LEFT] };
    await refreshSheets(app);
    expect(standings(app)).toEqual(["held"]);
    clinic.sheet = { ...clinic.sheet, held: [] };
    await refreshSheets(app);
    await loaded(app);
    expect(standings(app)).toEqual(["start"]);
    expect(words(app)).not.toContain(enLate.form_lost);
  });
});

describe("why it is asked again", () => {
  const why = (app: App): boolean => words(app).includes(enLate.form_lost);

  /** The left form alone is listed, and lost. */
  async function leftLost(): Promise<App> {
    clinic = await Clinic.open("left");
    const app = await provenOn(clinic, deviceStore);
    await answer(app, LEFT);
    clinic.restored_at = RESTORED;
    await refreshSheets(app);
    await loaded(app);
    return app;
  }

  test("is said beside a form that is to be begun or gone on with", async () => {
    const app = await leftLost();
    expect([standings(app), why(app)]).toEqual([["start"], true]);
    await start(app);
    await give(app, "since@1/1", 0);
    await goToList(app);
    expect([standings(app), why(app)]).toEqual([["carry_on"], true]);
  });

  test("is not said beside one that waits, that is held, or that the clinic no longer asks for", async () => {
    const app = await leftLost();
    await start(app);
    await give(app, "since@1/1", 0);
    await goToList(app);
    clinic.sheet = { ...clinic.sheet, forms: [] };
    await refreshSheets(app);
    app.go({ name: "forms" });
    expect([standings(app), why(app), words(app)]).toEqual([["carry_on"], false, expect.stringContaining(en.form_gone)]);
    clinic.sheet = { ...clinic.sheet, forms: [formOf("left")] };
    clinic.online = false;
    await answer(app, LEFT);
    expect([standings(app), why(app)]).toEqual([["waiting"], false]);
  });

  test("is not said beside one that somebody looks at by hand", async () => {
    const app = await leftLost();
    clinic.sheet = { ...clinic.sheet, held: [LEFT] };
    await refreshSheets(app);
    expect([standings(app), why(app)]).toEqual([["held"], false]);
  });

  test("is said of answers that somebody looked at by hand before the restore, and not of those settled after it", async () => {
    clinic = await Clinic.open("left");
    const app = await provenOn(clinic, deviceStore);
    await answer(app, LEFT);
    clinic.sheet = { ...clinic.sheet, held: [LEFT] };
    await refreshSheets(app);
    clinic.sheet = { ...clinic.sheet, held: [] };
    clinic.restored_at = RESTORED;
    await refreshSheets(app);
    await loaded(app);
    expect([standings(app), why(app)]).toEqual([["start"], true]);
    await answer(app, LEFT);
    clinic.sheet = { ...clinic.sheet, held: [LEFT] };
    await refreshSheets(app);
    clinic.sheet = { ...clinic.sheet, held: [] };
    await refreshSheets(app);
    expect([standings(app), why(app)]).toEqual([["start"], false]);
  });

  test("is not said of a form that the copy had and that is listed again for another reason", async () => {
    const app = await lost();
    clinic.sheet = { ...clinic.sheet, forms: [formOf("right")] };
    await refreshSheets(app);
    await loaded(app);
    await answer(app, RIGHT);
    clinic.sheet = { ...clinic.sheet, forms: [formOf("left"), formOf("right")] };
    await refreshSheets(app);
    app.go({ name: "forms" });
    expect([standings(app).sort(), why(app)]).toEqual([["received", "start"], false]);
  });

  test("is loaded once, however often the phone is read", async () => {
    const app = await leftLost();
    let loads = 0;
    let drawings = 0;
    app.context.loadPrivacy = async () => {
      loads += 1;
      throw new Error("loaded again");
    };
    app.onChange = () => void (drawings += 1);
    await readDeviceStore(app);
    await readDeviceStore(app);
    expect([loads, drawings]).toEqual([0, 2]);
  });
});

describe("each receipt counts by the restore that came with it", () => {
  const OTHER = "2026-11-25T07:00:00.000Z";
  type Name = string | null | undefined;
  /** Heard with a sheet; came with the receipt; comes with the next sheet, which lists the form. */
  test.each<[Name, Name, Name, string]>([
    [RESTORED, null, RESTORED, "start"],
    [RESTORED, OTHER, RESTORED, "start"],
    [RESTORED, OTHER, OTHER, "received"],
    [RESTORED, RESTORED, null, "start"],
    [null, RESTORED, null, "start"],
    [undefined, RESTORED, RESTORED, "received"],
    [RESTORED, undefined, RESTORED, "received"],
    [RESTORED, undefined, OTHER, "start"],
    [RESTORED, RESTORED, undefined, "received"],
    [RESTORED, OTHER, undefined, "received"],
    [undefined, undefined, null, "received"],
    [undefined, undefined, RESTORED, "start"],
    [undefined, undefined, undefined, "received"],
  ])("heard %s, receipt %s, then %s: %s; in this page and in one loaded later", async (heard, receipt, then, expected) => {
    clinic = await Clinic.open("left");
    clinic.restored_at = heard;
    const app = await provenOn(clinic, deviceStore);
    clinic.restored_at = receipt;
    await answer(app, LEFT);
    clinic.restored_at = then;
    const later = appOn(clinic, deviceStore);
    await later.storageRead;
    await refreshSheets(app);
    expect(standings(app)).toEqual([expected]);
    await refreshSheets(later);
    expect(standings(later)).toEqual([expected]);
  });

  test("also where the disk is full: what was received since is not asked again at each look, what was received before still is", async () => {
    const app = await lost();
    await refreshSheets(app);
    deviceStore.tables.write = () => Promise.reject(new DOMException("full", "QuotaExceededError"));
    await answer(app, LEFT);
    for (const _look of [1, 2]) {
      await refreshSheets(app);
      expect([app.view.screen.name, [...standings(app)].sort()]).toEqual(["received", ["received", "start"]]);
    }
    clinic.restored_at = OTHER;
    await refreshSheets(app);
    expect(standings(app)).toEqual(["start", "start"]);
  });
});

describe("a receipt that stands", () => {
  test.each([null, undefined])("is one of a clinic that was never restored, or of a server that does not tell (%s)", async (restored_at) => {
    clinic.restored_at = restored_at;
    const app = await provenOn(clinic, deviceStore);
    await answer(app, LEFT);
    await refreshSheets(app);
    expect(standings(app)).toEqual(["received", "start"]);
  });

  test("is one given after the restore, before the phone had heard of it and the clinic had recorded the answers", async () => {
    const app = await provenOn(clinic, deviceStore);
    await answer(app, LEFT);
    clinic.online = false;
    await answer(app, RIGHT);
    clinic.online = true;
    clinic.restored_at = RESTORED;
    await sendNow(app, false);
    await refreshSheets(app);
    expect(standings(app)).toEqual(["start", "received"]);
  });

  test("is one of a clinic that was restored long before the link was opened", async () => {
    clinic.restored_at = RESTORED;
    const app = await provenOn(clinic, deviceStore);
    await answer(app, LEFT);
    await refreshSheets(app);
    expect(standings(app)).toEqual(["received", "start"]);
    expect(app.privacy).toBeNull();
  });
});

/** The clinic went back to a copy of its records: what came after the copy is asked again, once, under the same link. */
import "fake-indexeddb/auto";
import { IDBFactory } from "fake-indexeddb";
import { beforeEach, describe, expect, test } from "vitest";
import type { App } from "../src/app/app";
import { finishForm, sendNow } from "../src/app/finishing";
import { begin, openWithBirthDate, refreshSheets, showFirstScreen } from "../src/app/opening";
import { enter, linksOf } from "../src/app/people";
import { translator } from "../src/i18n";
import { enLate } from "../src/i18n/en";
import { es } from "../src/i18n/es";
import { Forms, formsByLink, formStatus } from "../src/screens/forms";
import { type DeviceStore, openDeviceStore } from "../src/store/device_store";
import { answerAll, give, provenOn, screenOf, start } from "./answering";
import { formOf } from "./cast";
import { appOn, Clinic, TOKEN } from "./clinic";
import { drawn, unfolded } from "./drawn";

const RESTORED = "2026-11-24T08:00:00.000Z";
const [LEFT, RIGHT] = [formOf("left").form_id, formOf("right").form_id];
const NEW_TOKEN = "CEIRCEIRCEIRCEIRCEIRCEIRCEBL";

let deviceStore: DeviceStore;
let clinic: Clinic;
beforeEach(async () => {
  globalThis.indexedDB = new IDBFactory();
  deviceStore = await openDeviceStore();
  clinic = await Clinic.open("left", "right");
});

function standings(app: App): string[] {
  const person = app.view.people[0]!;
  return person.sheet!.forms.map((form) => formStatus(form, person, app.view));
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
    const { restored_at: _none, doubtful: _neither, ...before } = row!;
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

describe("a new link beside an old one of the same person", () => {
  const rows = (app: App): string[] => words(app).match(/(Left|Right) shoulder/g) ?? [];

  test("what the old one has a receipt for and the new one asks for stands there once, to be answered under the new one", async () => {
    clinic = await Clinic.open("left");
    const app = await provenOn(clinic, deviceStore);
    await answer(app, LEFT);
    app.go({ name: "forms" });
    expect(words(app)).toContain("Received by the clinic");
    const again = await Clinic.open("left");
    again.token = NEW_TOKEN;
    app.context.post = again.post;
    await showFirstScreen(app, NEW_TOKEN);
    await begin(app);
    await openWithBirthDate(app, again.born);
    expect([screenOf(app), app.view.people.length, rows(app)]).toEqual([{ name: "forms" }, 2, ["Left shoulder"]]);
    expect(words(app)).not.toContain("Received by the clinic");
  });

  test("what was begun under the old one stays, to be gone on with", async () => {
    clinic = await Clinic.open("left");
    const app = await provenOn(clinic, deviceStore);
    await start(app);
    await give(app, "since@1/1", 0);
    const again = await Clinic.open("left");
    again.token = NEW_TOKEN;
    app.context.post = again.post;
    await showFirstScreen(app, NEW_TOKEN);
    await begin(app);
    await openWithBirthDate(app, again.born);
    expect(rows(app)).toHaveLength(2);
  });

  test("what both ask for is asked once, under the one that they came in by", async () => {
    clinic = await Clinic.open("left");
    const app = await provenOn(clinic, deviceStore);
    const old = app.view.people[0]!;
    const made = { ...old, row: { ...old.row, lookup: "new" } };
    app.change({ people: [old, made] });
    for (const each of [made, old]) {
      await enter(app, each);
      const { asked, shown } = formsByLink([each, ...linksOf(each, app.view).filter((other) => other !== each)], app.view);
      expect([...asked].map(([id, link]) => [id, link.row.lookup])).toEqual([[LEFT, each.row.lookup]]);
      expect(shown.map(([link, forms]) => [link.row.lookup === each.row.lookup, forms.length])).toEqual([[true, 1], [false, 0]]);
      app.go({ name: "forms" });
      expect(rows(app)).toEqual(["Left shoulder"]);
    }
  });
});

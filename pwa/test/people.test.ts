/** Several people on one phone, and what of each of them stays on it. */
import "fake-indexeddb/auto";
import { IDBFactory } from "fake-indexeddb";
import { beforeEach, describe, expect, test } from "vitest";
import { openForm } from "../src/app/answering";
import type { App } from "../src/app/app";
import { finishForm } from "../src/app/finishing";
import { begin, openWithBirthDate, refreshSheets, showFirstScreen } from "../src/app/opening";
import { askWhoAnswers, choosePerson, currentPerson, distinctPeople, forgetPerson, hearForgotten, linksOf, switchLanguage } from "../src/app/people";
import type { Item, Sheet } from "../src/form/due_sheet";
import { translator } from "../src/i18n";
import { deriveKeys } from "../src/link/derive";
import { readToken } from "../src/link/token";
import { NothingToDo } from "../src/screens/link";
import { type DeviceStore, openDeviceStore } from "../src/store/device_store";
import { decryptJson } from "../src/store/encrypt";
import { KEY_OF } from "../src/store/tables";
import { answerAll, give, provenOn, screenOf, start } from "./answering";
import { appOn, BORN, Clinic, TOKEN } from "./clinic";
import { drawn } from "./drawn";

const OTHER_TOKEN = "CEIRCEIRCEIRCEIRCEIRCEIRCEBL";
const OTHER_BORN = "1949-07-11";

let deviceStore: DeviceStore;
beforeEach(async () => {
  globalThis.indexedDB = new IDBFactory();
  deviceStore = await openDeviceStore();
});

/** Ada and Ben have both opened their links on this phone; then the page is loaded again. */
async function shared(): Promise<{ app: App; ada: Clinic; ben: Clinic }> {
  const ada = await Clinic.open("left");
  await provenOn(ada, deviceStore);
  const ben = await Clinic.open("right");
  Object.assign(ben, { token: OTHER_TOKEN, born: OTHER_BORN });
  ben.sheet.patient = { first_name: "Ben", language: "es" };
  const second = appOn(ben, deviceStore);
  await showFirstScreen(second, OTHER_TOKEN);
  await begin(second);
  await openWithBirthDate(second, OTHER_BORN);
  const app = appOn(ada, deviceStore);
  await showFirstScreen(app, "");
  return { app, ada, ben };
}

const personOf = (app: App, name: string) => app.view.people.find((person) => person.sheet?.patient.first_name === name)!;
const nameShown = (app: App): string | undefined => currentPerson(app.view)?.sheet?.patient.first_name;

async function everything(): Promise<Record<string, unknown>[]> {
  const tables = await Promise.all((["people", "drafts", "outbox"] as const).map((table) => deviceStore.tables.all(table)));
  return tables.flat() as unknown as Record<string, unknown>[];
}

/** What the screen of a link with nothing to answer lets a person say is wrong. */
const wrongOn = (app: App): (() => void) | undefined => drawn(NothingToDo({ app, view: app.view, t: translator("en"), screen: app.view.screen as Parameters<typeof NothingToDo>[0]["screen"] })).buttons["wrong"];

describe("a phone that two people use", () => {
  test("on the screen of an ended link nothing can be said of the other person; where nothing is due it is said of the link's own", async () => {
    const { app, ben } = await shared();
    await choosePerson(app, personOf(app, "Ada"));
    await openWithBirthDate(app, BORN);
    app.context.post = ben.post;
    ben.state = "nothing_due";
    ben.sheet.forms = [];
    const opened = async (): Promise<string> => {
      await showFirstScreen(app, OTHER_TOKEN);
      await begin(app);
      const { lookup } = await deriveKeys(readToken(OTHER_TOKEN), OTHER_BORN);
      app.change({ people: app.view.people.map((each) => (each.row.lookup === lookup ? { ...each, row: { ...each.row, rejected: 1 } } : each)) });
      await openWithBirthDate(app, OTHER_BORN);
      return app.view.screen.name;
    };
    expect(await opened()).toBe("nothing");
    wrongOn(app)?.();
    await expect.poll(() => app.view.screen).toMatchObject({ name: "wrong", person: { sheet: { patient: { first_name: "Ben" } } } });
    ben.state = "ended";
    expect([await opened(), app.view.people.map((person) => person.sheet?.patient.first_name), wrongOn(app)]).toEqual(["ended", ["Ada"], undefined]);
  });

  test("asks who answers and for that person's birth date, without network, and shows nobody else's forms", async () => {
    const { app, ada } = await shared();
    ada.online = false;
    expect([screenOf(app), nameShown(app)]).toEqual([{ name: "people" }, undefined]);
    await choosePerson(app, personOf(app, "Ada"));
    expect(app.view.screen.name).toBe("birth");
    expect([await openWithBirthDate(app, OTHER_BORN), app.view.screen.name]).toEqual([false, "birth"]);
    expect([await openWithBirthDate(app, BORN), screenOf(app), nameShown(app)]).toEqual([true, { name: "forms" }, "Ada"]);
    askWhoAnswers(app);
    expect([screenOf(app), nameShown(app)]).toEqual([{ name: "people" }, undefined]);
  });

  test("asks for the birth date also when a known link is tapped", async () => {
    const { app } = await shared();
    await showFirstScreen(app, TOKEN);
    await begin(app);
    expect(app.view.screen.name).toBe("birth");
    await openWithBirthDate(app, BORN);
    expect([screenOf(app), nameShown(app), app.token]).toEqual([{ name: "forms" }, "Ada", null]);
  });

  test("speaks to each in their own language, and a change is for the one who made it", async () => {
    const { app } = await shared();
    for (const [name, born, language] of [["Ben", OTHER_BORN, "es"], ["Ada", BORN, "en"]] as const) {
      await choosePerson(app, personOf(app, name));
      await openWithBirthDate(app, born);
      expect(app.view.language).toBe(language);
    }
    await switchLanguage(app, "es");
    const rows = await deviceStore.tables.all("people");
    expect(rows.map((row) => [row.lookup === personOf(app, "Ada").row.lookup, row.language]).sort()).toEqual([[false, null], [true, "es"]]);
  });

  test("a person with an old link beside the new one is one person, and sees the forms of both", async () => {
    const { app } = await shared();
    const ada = personOf(app, "Ada");
    app.change({ people: [ada, { ...ada, row: { ...ada.row, lookup: "new" } }] });
    expect([distinctPeople(app.view.people).length, linksOf(ada, app.view).map((each) => each.row.lookup)]).toEqual([1, [ada.row.lookup, "new"]]);
  });

  test("a person of an earlier version, of whom it holds nothing to compare, comes in by name", async () => {
    const { app } = await shared();
    const { birth_check: _none, ...row } = personOf(app, "Ada").row;
    await choosePerson(app, { ...personOf(app, "Ada"), row });
    expect([screenOf(app), nameShown(app)]).toEqual([{ name: "forms" }, "Ada"]);
  });
});

test("after sending, nothing stays but what opens the link again", async () => {
  const clinic = await Clinic.open("left");
  const app = await provenOn(clinic, deviceStore);
  await start(app);
  await answerAll(app);
  await finishForm(app);
  expect(screenOf(app)).toEqual({ name: "received" });
  const rows = await everything();
  const needed = ["lookup", "proof", "due_key", "answer_key", "draft_key", "birth_check", "state", "sheet", "sent", "sent_with", "restored_at", "lost", "rejected", "clock_skew_ms", "language"];
  expect(rows.map((row) => Object.keys(row).sort())).toEqual([needed.sort()]);
  const [row] = await deviceStore.tables.all("people");
  const { forms, instruments, texts, patient } = await decryptJson<Sheet>(row!.draft_key, `yearmark sheet ${row!.lookup}`, row!.sheet!);
  expect({ forms, instruments, texts, patient }).toEqual({ forms: [], instruments: {}, texts: {}, patient: { first_name: "Ada", language: "en" } });
  const plain = JSON.stringify({ ...row, sheet: null }) + new TextDecoder("latin1").decode(row!.sheet!.ciphertext);
  for (const word of ["Ada", BORN, TOKEN, "sst", "since", "left"]) expect(plain).not.toContain(word);
  expect([row!.due_key, row!.answer_key, row!.draft_key].map((key) => key.extractable)).toEqual([false, false, false]);
});

test("what was received still stands on the list of the page that sent it", async () => {
  const clinic = await Clinic.open("left", "right");
  const app = await provenOn(clinic, deviceStore);
  await start(app);
  await answerAll(app);
  await finishForm(app);
  expect(app.view.people[0]?.sheet?.forms.map((form) => form.side)).toEqual(["left", "right"]);
});

test("of two shoulders the second form does not ask again how to reach the person, also after a reload", async () => {
  const clinic = await Clinic.open("left", "right");
  const more = [
    { item: "6", type: "choice", codes: [1, 0] },
    ...["6a", "6b"].map((item) => ({ item, type: "text", max_length: 9, identifying: true, asked_if: { item: "6", codes: [1] } })),
  ] as Item[];
  clinic.sheet.instruments["sst@1"]!.items.push(...more);
  for (const form of clinic.sheet.forms) form.parts[1]!.items.push("6", "6a", "6b");
  for (const text of Object.values(clinic.sheet.texts["sst@1"]!)) for (const { item } of more) text.items[item] = { stem: item };
  const app = await provenOn(clinic, deviceStore);
  await start(app);
  expect(app.view.open?.steps.map((step) => step.key)).toContain("sst@1/6");
  await give(app, "sst@1/6", 0);
  await finishForm(app);
  await start(app, 1);
  const again = appOn(clinic, deviceStore);
  await showFirstScreen(again, "");
  await openForm(again, again.view.people[0]!, clinic.sheet.forms[1]!);
  expect(again.view.open?.steps.map((step) => step.key)).not.toContain("sst@1/6");
  await finishForm(again);
  const states = clinic.received.map(({ parts }) => ["6", "6a", "6b"].map((item) => parts[1].answers[item].state));
  expect(states).toEqual([["answered", "skipped", "skipped"], ["not_reached", "skipped", "skipped"]]);
});

describe("being forgotten", () => {
  async function adaWithWork(): Promise<{ app: App; clinic: Clinic }> {
    const clinic = await Clinic.open("left", "right");
    const app = await provenOn(clinic, deviceStore);
    clinic.online = false;
    await start(app);
    await answerAll(app);
    await finishForm(app);
    await start(app, 1);
    await give(app, "since@1/1", 0);
    return { app, clinic };
  }

  test("deletes every row of the person, and leaves those of another", async () => {
    const { app } = await shared();
    await choosePerson(app, personOf(app, "Ben"));
    await openWithBirthDate(app, OTHER_BORN);
    const { lookup } = personOf(app, "Ben").row;
    await forgetPerson(app, personOf(app, "Ben"));
    expect([screenOf(app), (await everything()).map((row) => row[KEY_OF.people] !== lookup)]).toEqual([{ name: "forgotten" }, [true]]);
  });

  test("takes begun and waiting answers along, from the disk and from the page", async () => {
    const { app } = await adaWithWork();
    expect((await everything()).length).toBe(3);
    await forgetPerson(app, app.view.people[0]!);
    expect([await everything(), app.view.outbox, app.view.open, app.view.people]).toEqual([[], [], null, []]);
  });

  test("is not undone by what was on its way, nor by another window with an open form", async () => {
    const { app, clinic } = await adaWithWork();
    const person = app.view.people[0]!;
    const other = appOn(clinic, deviceStore);
    await showFirstScreen(other, "");
    await openForm(other, other.view.people[0]!, other.view.people[0]!.sheet!.forms[1]!);
    await forgetPerson(app, person);
    await hearForgotten(other, person.row.lookup);
    app.change({ people: [person] });
    clinic.online = true;
    await refreshSheets(app);
    expect([await everything(), screenOf(other), other.view.open]).toEqual([[], { name: "forgotten" }, null]);
  });

  test("the link then opens again with the birth date", async () => {
    const { app, clinic } = await adaWithWork();
    await forgetPerson(app, app.view.people[0]!);
    clinic.online = true;
    await showFirstScreen(app, TOKEN);
    await begin(app);
    await openWithBirthDate(app, BORN);
    expect([screenOf(app), (await everything()).length]).toEqual([{ name: "forms" }, 1]);
  });
});

/** Two links of one person on one phone: what is known of a form is known by its link too, and a link that the clinic does not accept asks nothing. */
import "fake-indexeddb/auto";
import { IDBFactory } from "fake-indexeddb";
import { beforeEach, describe, expect, test } from "vitest";
import { goToList, openForm } from "../src/app/answering";
import type { App } from "../src/app/app";
import { readDeviceStore } from "../src/app/device";
import { finishForm, sendNow } from "../src/app/finishing";
import { begin, openWithBirthDate, refreshSheets, showFirstScreen } from "../src/app/opening";
import { currentPerson, enter, linksOf } from "../src/app/people";
import { formsByLink, standingOf } from "../src/app/standing";
import { translator } from "../src/i18n";
import { en } from "../src/i18n/en";
import { Forms } from "../src/screens/forms";
import { type DeviceStore, openDeviceStore } from "../src/store/device_store";
import type { Person } from "../src/store/people";
import { answerAll, give, provenOn, screenOf, start } from "./answering";
import { formOf } from "./cast";
import { appOn, BORN, Clinic, together } from "./clinic";
import { drawn, unfolded } from "./drawn";

const NEW_TOKEN = "CEIRCEIRCEIRCEIRCEIRCEIRCEBL";
const LEFT = formOf("left").form_id;

let deviceStore: DeviceStore;
let old: Clinic;
let made: Clinic;
beforeEach(async () => {
  globalThis.indexedDB = new IDBFactory();
  deviceStore = await openDeviceStore();
  old = await Clinic.open("left");
  made = await Clinic.open("left");
  made.token = NEW_TOKEN;
});

/** On the list of a phone whose old link was opened, and `doing` done there. */
async function withOld(doing: (app: App) => Promise<unknown> = async () => undefined): Promise<App> {
  const app = await provenOn(old, deviceStore);
  app.context.post = await together(old, made);
  await doing(app);
  return app;
}

/** The clinic's new message is tapped. */
async function openNew(app: App): Promise<void> {
  await showFirstScreen(app, NEW_TOKEN);
  await begin(app);
  await openWithBirthDate(app, BORN);
}

/** The page is loaded once more, without a link, and looks for new forms. */
async function loadedAgain(entered?: Person): Promise<App> {
  const app = appOn(old, deviceStore);
  app.context.post = await together(old, made);
  await showFirstScreen(app, "");
  if (entered) await enter(app, entered);
  await refreshSheets(app);
  return app;
}

async function linkOf(app: App, clinic: Clinic): Promise<Person> {
  const lookup = await clinic.lookup();
  return app.view.people.find((person) => person.row.lookup === lookup)!;
}

async function standing(app: App, clinic: Clinic): Promise<string> {
  const link = await linkOf(app, clinic);
  return standingOf(link.sheet!.forms[0]!, link, app.view);
}

async function answer(app: App, clinic: Clinic): Promise<void> {
  const link = await linkOf(app, clinic);
  await openForm(app, link, link.sheet!.forms[0]!);
  await answerAll(app);
  await finishForm(app);
}

function list(app: App): ReturnType<typeof drawn> {
  app.go({ name: "forms" });
  return drawn(unfolded(Forms({ app, view: app.view, t: translator("en") })));
}
const rows = (app: App): number => list(app).words.match(/Left shoulder/g)?.length ?? 0;

/** Under which link each form is asked. */
function asked(app: App, first = currentPerson(app.view)!): string[] {
  const links = [first, ...linksOf(first, app.view).filter((each) => each !== first)];
  return [...formsByLink(links, app.view).asked.values()].map((link) => link.row.lookup);
}

describe("a link that the clinic does not know any more, beside one that it has made", () => {
  test.each(["old", "made"] as const)("asks for nothing, also where the page came in by it (%s): the answers go by the other, and arrive", async (entered) => {
    const before = await withOld(openNew);
    old.known = false;
    const app = await loadedAgain(await linkOf(before, { old, made }[entered]));
    expect([currentPerson(app.view)!.row.lookup, asked(app)]).toEqual([await made.lookup(), [await made.lookup()]]);
    expect([rows(app), list(app).words]).toEqual([1, expect.not.stringContaining(en.forms_stale)]);
    list(app).buttons["start-form"]!();
    await expect.poll(() => screenOf(app)).toMatchObject({ name: "item" });
    await answerAll(app);
    await finishForm(app);
    expect([screenOf(app), old.refused, made.received.map((each) => each.form_id)]).toEqual([{ name: "received" }, 0, [LEFT]]);
  });

  test("does not keep its form from being answered by the other, once its own answers were refused; of those it still says so", async () => {
    const app = await withOld(async (phone) => {
      old.online = false;
      await answer(phone, old);
    });
    await openNew(app);
    expect([await standing(app, made), rows(app)]).toEqual(["waiting", 1]);
    [old.online, old.known] = [true, false];
    await sendNow(app, false);
    expect([await standing(app, old), await standing(app, made), asked(app)]).toEqual(["refused", "start", [await made.lookup()]]);
    expect(list(app).words).toContain(en.form_refused);
    await answer(app, made);
    expect([screenOf(app), made.received.map((each) => each.form_id), await standing(app, old)]).toEqual([{ name: "received" }, [LEFT], "refused"]);
  });

  test("does not keep what was begun under it from being begun under the other, saved and sent", async () => {
    const app = await withOld(async (phone) => {
      await start(phone);
      await give(phone, "since@1/1", 0);
      await goToList(phone);
    });
    old.known = false;
    await openNew(app);
    await refreshSheets(app);
    expect([await standing(app, old), await standing(app, made), rows(app)]).toEqual(["carry_on", "start", 1]);
    const link = await linkOf(app, made);
    await openForm(app, link, link.sheet!.forms[0]!);
    await give(app, "since@1/1", 0);
    expect([app.view.draft_status, app.inMemory.drafts.size]).toEqual(["saved", 0]);
    await goToList(app);
    const again = await loadedAgain();
    expect(await standing(again, made)).toBe("carry_on");
    await answer(again, made);
    expect([screenOf(again), made.received.map((each) => each.form_id)]).toEqual([{ name: "received" }, [LEFT]]);
  });

  test("asks as before where no other is known, and says that it has changed", async () => {
    const app = await withOld();
    old.known = false;
    await refreshSheets(app);
    expect([asked(app), list(app).words]).toEqual([[await old.lookup()], expect.stringContaining(en.forms_stale)]);
  });
});

describe("two links that the clinic knows", () => {
  test("what the old one has a receipt for and the new one asks for stands there once, to be answered under the new one", async () => {
    const app = await withOld((phone) => answer(phone, old));
    expect(list(app).words).toContain("Received by the clinic");
    await openNew(app);
    expect([screenOf(app), app.view.people.length, rows(app), asked(app)]).toEqual([{ name: "forms" }, 2, 1, [await made.lookup()]]);
    expect(list(app).words).not.toContain("Received by the clinic");
  });

  test("what somebody looks at by hand under the one is still said once the other asks for it", async () => {
    const app = await withOld((phone) => answer(phone, old));
    old.sheet = { ...old.sheet, held: [LEFT] };
    await refreshSheets(app);
    await openNew(app);
    expect([await standing(app, old), await standing(app, made), rows(app)]).toEqual(["held", "start", 2]);
    expect(list(app).words).toContain(en.form_held);
  });

  test("what was begun under the old one is gone on with there, and received; the new one asks as if it had not been", async () => {
    const app = await withOld(async (phone) => {
      await start(phone);
      await give(phone, "since@1/1", 0);
      await goToList(phone);
    });
    await openNew(app);
    expect([await standing(app, old), await standing(app, made), rows(app)]).toEqual(["carry_on", "start", 2]);
    const link = await linkOf(app, old);
    await openForm(app, link, link.sheet!.forms[0]!);
    expect([Object.keys(app.view.open!.draft.answers), screenOf(app)]).toEqual([["since@1/1"], { name: "item", key: "since@1/2" }]);
    await give(app, "since@1/2", 12);
    await give(app, "since@1/3", 4);
    await goToList(app);
    await answer(app, old);
    expect([screenOf(app), old.received.map((each) => each.form_id), made.received]).toEqual([{ name: "received" }, [LEFT], []]);
    expect(await deviceStore.tables.all("drafts")).toEqual([]);
  });

  test("what both ask for is asked once, under the one that they came in by; under the other once that one is refused", async () => {
    const app = await withOld(openNew);
    for (const clinic of [made, old, made]) {
      const link = await linkOf(app, clinic);
      await enter(app, link);
      expect([asked(app), rows(app)]).toEqual([[await clinic.lookup()], 1]);
    }
    made.known = false;
    await refreshSheets(app);
    expect([asked(app), asked(app, await linkOf(app, made)), rows(app)]).toEqual([[await old.lookup()], [await old.lookup()], 1]);
  });
});

describe("what a version before had stored by the form alone", () => {
  test("is carried on under its own link, and leaves the disk with it", async () => {
    const app = await withOld(async (phone) => {
      await start(phone);
      await give(phone, "since@1/1", 0);
      await goToList(phone);
    });
    const [row] = await deviceStore.tables.all("drafts");
    await deviceStore.tables.write([{ table: "drafts", remove: row!.form_id }, { table: "drafts", put: { ...row!, form_id: LEFT } }]);
    await openNew(app);
    await readDeviceStore(app);
    expect([await standing(app, old), await standing(app, made)]).toEqual(["carry_on", "start"]);
    const link = await linkOf(app, old);
    await openForm(app, link, link.sheet!.forms[0]!);
    expect(Object.keys(app.view.open!.draft.answers)).toEqual(["since@1/1"]);
    await give(app, "since@1/2", 12);
    expect((await deviceStore.tables.all("drafts")).map((each) => each.form_id)).toEqual([LEFT]);
    await give(app, "since@1/3", 4);
    await goToList(app);
    await answer(app, old);
    expect([old.received.length, await deviceStore.tables.all("drafts")]).toEqual([1, []]);
  });
});

describe("a proof that the clinic has rejected", () => {
  test("is not asked or sent with again by itself, in this page or a later one: five wrong ones lock a patient out", async () => {
    const app = await withOld(async (phone) => {
      old.online = false;
      await answer(phone, old);
    });
    [old.online, old.known] = [true, false];
    await refreshSheets(app);
    await sendNow(app, false);
    expect([old.asked, old.refused]).toEqual([2, 1]);
    await refreshSheets(app);
    const again = await loadedAgain();
    await sendNow(again, "by_itself");
    expect([old.asked, old.refused, list(again).words]).toEqual([2, 1, expect.stringContaining(en.forms_stale)]);
    await sendNow(again, true);
    expect(old.refused).toBe(2);
  });

  test("is tried once the link is opened and the birth date given; from then on the phone asks again", async () => {
    const app = await withOld();
    old.known = false;
    await refreshSheets(app);
    old.known = true;
    await showFirstScreen(app, old.token);
    await begin(app);
    expect([app.view.screen.name, old.asked]).toEqual(["birth", 2]);
    await openWithBirthDate(app, BORN);
    expect([screenOf(app), list(app).words, old.asked]).toEqual([{ name: "forms" }, expect.not.stringContaining(en.forms_stale), 3]);
    await refreshSheets(app);
    expect(old.asked).toBe(4);
  });

  test("is not taken for the one of a birth date that was entered while the answer to it was on its way", async () => {
    const app = await withOld();
    const { post } = app.context;
    old.known = false;
    old.born = "1952-03-01";
    app.context.post = async (path, body) => {
      const reply = await post(path, body);
      app.context.post = post;
      old.known = true;
      await showFirstScreen(app, old.token);
      app.go({ name: "birth" });
      await openWithBirthDate(app, old.born);
      return reply;
    };
    await refreshSheets(app);
    expect([(await linkOf(app, old)).row.rejected, old.asked]).toEqual([0, 3]);
    await refreshSheets(app);
    expect(old.asked).toBe(4);
  });

  test("is known to be rejected also where the disk refuses to note it", async () => {
    const app = await withOld();
    old.known = false;
    const write = deviceStore.tables.write.bind(deviceStore.tables);
    deviceStore.tables.write = () => Promise.reject(new DOMException("full", "QuotaExceededError"));
    await refreshSheets(app);
    await refreshSheets(app);
    deviceStore.tables.write = write;
    expect([old.asked, list(app).words]).toEqual([2, expect.stringContaining(en.forms_stale)]);
  });
});

import "fake-indexeddb/auto";
import { IDBFactory } from "fake-indexeddb";
import { beforeEach, describe, expect, test } from "vitest";
import { answerItem, declineItem, goBack, goToItem, hasValidAnswer, markWarningRead } from "../src/app/answering";
import type { App } from "../src/app/app";
import { finishForm, sendNow } from "../src/app/finishing";
import { begin, openWithBirthDate, refreshSheets, showFirstScreen, showLatest, tryAgain } from "../src/app/opening";
import { standingOf } from "../src/app/standing";
import type { Value } from "../src/form/due_sheet";
import { type DeviceStore, openDeviceStore } from "../src/store/device_store";
import { memoryTables, underLink } from "../src/store/tables";
import { answerAll, give, provenOn, screenOf, start } from "./answering";
import { appOn, BORN, Clinic, OFFLINE, TOKEN } from "./clinic";

let deviceStore: DeviceStore;
beforeEach(async () => {
  globalThis.indexedDB = new IDBFactory();
  deviceStore = await openDeviceStore();
});

const proven = (clinic: Clinic, planned?: (() => void)[]): Promise<App> => provenOn(clinic, deviceStore, planned);

describe("opening a link", () => {
  test("nothing is asked of the clinic before the tap and the date; then link and date are forgotten", async () => {
    const clinic = await Clinic.open("left");
    const app = appOn(clinic, deviceStore);
    await showFirstScreen(app, TOKEN);
    expect([screenOf(app), clinic.asked]).toEqual([{ name: "start" }, 0]);
    await begin(app);
    expect([screenOf(app), clinic.asked]).toEqual([{ name: "birth" }, 0]);
    await openWithBirthDate(app, BORN);
    expect([screenOf(app), app.token, app.pendingKeys]).toEqual([{ name: "forms" }, null, null]);
    expect(app.view.people[0]?.row.clock_skew_ms).toBe(1500);
  });

  test("a wrong date says check and counts the tries; the right one then opens", async () => {
    const clinic = await Clinic.open("left");
    const app = appOn(clinic, deviceStore);
    await showFirstScreen(app, TOKEN);
    await begin(app);
    await openWithBirthDate(app, "1952-02-28");
    await openWithBirthDate(app, "1952-02-27");
    expect(screenOf(app)).toEqual({ name: "check", tries: 2 });
    await openWithBirthDate(app, BORN);
    expect(screenOf(app)).toEqual({ name: "forms" });
  });

  test("a link tapped while the first one still waits for the storage is the one that opens", async () => {
    const app = appOn(await Clinic.open("left"), deviceStore);
    let tapped = "";
    app.storageRead = Promise.resolve().then(() => void (tapped = TOKEN));
    await showLatest(app, () => tapped);
    expect([screenOf(app), app.token !== null]).toEqual([{ name: "start" }, true]);
  });

  test("without network it says so, and a retry needs no date again", async () => {
    const clinic = await Clinic.open("left");
    clinic.online = false;
    const app = await proven(clinic);
    expect(screenOf(app)).toEqual({ name: "offline", why: "offline" });
    clinic.online = true;
    await tryAgain(app);
    expect(screenOf(app)).toEqual({ name: "forms" });
  });

  test.each([["ended", "ended"], ["replaced", "replaced"]])("a link that is %s says so and leaves nothing behind", async (state, name) => {
    const clinic = await Clinic.open();
    clinic.state = state;
    const app = await proven(clinic);
    expect(screenOf(app)).toMatchObject({ name, first_name: "" });
    expect(await deviceStore.tables.all("people")).toEqual([]);
  });

  test("nothing due says so by name", async () => {
    const clinic = await Clinic.open();
    clinic.state = "nothing_due";
    expect(screenOf(await proven(clinic))).toMatchObject({ name: "nothing", first_name: "Ada" });
  });

  test("a mistyped link is caught before anything is asked", async () => {
    const clinic = await Clinic.open("left");
    const app = appOn(clinic, deviceStore);
    await showFirstScreen(app, `${TOKEN.slice(0, -1)}A`);
    expect([screenOf(app), clinic.asked]).toEqual([{ name: "mistyped", fault: "check" }, 0]);
  });

  test("a link opened on this phone before needs no date again", async () => {
    const clinic = await Clinic.open("left");
    await proven(clinic);
    const app = appOn(clinic, deviceStore);
    await showFirstScreen(app, "");
    expect(screenOf(app)).toEqual({ name: "forms" });
    await showFirstScreen(app, TOKEN);
    await begin(app);
    expect([screenOf(app), app.token]).toEqual([{ name: "forms" }, null]);
  });
});

describe("answering", () => {
  test("after a crash on any screen the form goes on at the same item with every answer", async () => {
    const clinic = await Clinic.open("left", "right");
    const app = await proven(clinic);
    await start(app);
    await give(app, "since@1/1", 1);
    await give(app, "since@1/1a", "2026-03");
    const again = appOn(clinic, await openDeviceStore());
    clinic.online = false;
    await showFirstScreen(again, "");
    const { row, sheet } = app.view.people[0]!;
    expect([...again.view.begun]).toEqual([underLink(row.lookup, sheet!.forms[0]!.form_id)]);
    await start(again);
    expect(screenOf(again)).toEqual({ name: "item", key: "since@1/2" });
    expect(again.view.open?.draft.answers["since@1/1a"]).toMatchObject({ state: "answered", value: "2026-03" });
  });

  test("a warning answer shows the call-now page, also after a crash, and then goes on", async () => {
    const clinic = await Clinic.open("left");
    const app = await proven(clinic);
    await start(app);
    await goToItem(app, "sst@1/2");
    await give(app, "sst@1/2", 1);
    expect(screenOf(app)).toEqual({ name: "warning", key: "sst@1/2" });
    const again = appOn(clinic, deviceStore);
    await showFirstScreen(again, "");
    await start(again);
    expect(screenOf(again)).toEqual({ name: "warning", key: "sst@1/2" });
    await markWarningRead(again, "sst@1/2");
    expect(screenOf(again)).toEqual({ name: "item", key: "since@1/1" });
  });

  test("an item is left only with an answer that fits, or declined", async () => {
    const app = await proven(await Clinic.open("left"));
    await start(app);
    const step = app.view.open!.steps.find((each) => each.key === "since@1/2")!;
    expect(hasValidAnswer(app, step)).toBe(false);
    await answerItem(app, step.key, 400);
    expect(hasValidAnswer(app, step)).toBe(false);
    await declineItem(app, step.key);
    expect([hasValidAnswer(app, step), screenOf(app)]).toEqual([true, { name: "item", key: "since@1/3" }]);
  });

  test("back keeps the answers and ends at the list of forms", async () => {
    const app = await proven(await Clinic.open("left"));
    await start(app);
    await give(app, "since@1/1", 0);
    await goBack(app);
    expect([screenOf(app), app.view.open?.draft.answers["since@1/1"]?.state]).toEqual([{ name: "item", key: "since@1/1" }, "answered"]);
    await goBack(app);
    expect([screenOf(app), app.view.open]).toEqual([{ name: "forms" }, null]);
  });

  test("the first time of an answer stays, the last one moves", async () => {
    const app = await proven(await Clinic.open("left"));
    await start(app);
    await answerItem(app, "since@1/3", 1);
    app.context.now = () => new Date("2026-11-25T09:00:00.000Z");
    await answerItem(app, "since@1/3", 2);
    const answer = app.view.open?.draft.answers["since@1/3"];
    expect(answer).toEqual({ state: "answered", value: 2, first_at: "2026-11-25T08:00:01.500Z", last_at: "2026-11-25T09:00:00.000Z" });
  });

  test("a disk that refuses blocks nobody, and the page never says saved", async () => {
    const app = await proven(await Clinic.open("left"));
    await start(app);
    app.context.deviceStore = { ...deviceStore, tables: { ...deviceStore.tables, write: () => Promise.reject(new DOMException("full", "QuotaExceededError")) } };
    await give(app, "since@1/1", 0);
    expect([screenOf(app), app.view.draft_status]).toEqual([{ name: "item", key: "since@1/2" }, "unsaved"]);
  });

  test("where keys cannot be kept the page says nothing is saved", async () => {
    deviceStore = { tables: memoryTables(), persistence: "nothing" };
    const app = await proven(await Clinic.open("left"));
    await start(app);
    await give(app, "since@1/1", 0);
    expect([screenOf(app), app.view.draft_status]).toEqual([{ name: "item", key: "since@1/2" }, "none"]);
  });
});

describe("finishing", () => {
  test("what was answered is what the clinic opens, and the phone forgets it on the receipt", async () => {
    const clinic = await Clinic.open("left");
    const app = await proven(clinic);
    await start(app);
    await answerAll(app);
    expect(screenOf(app)).toEqual({ name: "review" });
    await finishForm(app);
    expect(screenOf(app)).toEqual({ name: "received" });
    const values = clinic.received[0]!.parts.map((part: { answers: Record<string, { value?: Value }> }) => Object.values(part.answers).map((each) => each.value ?? null));
    expect(values).toEqual([[0, 12, 4, null, null, null], [1, 0]]);
    expect([await deviceStore.tables.all("outbox"), await deviceStore.tables.all("drafts")]).toEqual([[], []]);
  });

  test("a form received is not offered again, even before the clinic's sheet says so", async () => {
    const clinic = await Clinic.open("left");
    const app = await proven(clinic);
    await start(app);
    await answerAll(app);
    await finishForm(app);
    await refreshSheets(app);
    expect(app.view.people[0]?.row.sent).toEqual([clinic.sheet.forms[0]!.form_id]);
  });

  test("a form that the clinic held, and then settled without using it, is offered and taken once more", async () => {
    const clinic = await Clinic.open("left");
    const app = await proven(clinic);
    const standing = (): string => standingOf(app.view.people[0]!.sheet!.forms[0]!, app.view.people[0]!, app.view);
    await start(app);
    await answerAll(app);
    await finishForm(app);
    const standings = [standing()];
    for (const held of [[clinic.sheet.forms[0]!.form_id], []]) {
      clinic.sheet = { ...clinic.sheet, held };
      await refreshSheets(app);
      standings.push(standing());
    }
    expect(standings).toEqual(["received", "held", "start"]);
    await start(app);
    await answerAll(app);
    await finishForm(app);
    await refreshSheets(app);
    expect([screenOf(app), clinic.received.length, standing()]).toEqual([{ name: "received" }, 2, "received"]);
  });

  test("without network it is saved and no more; it goes out by the planned retry", async () => {
    const planned: (() => void)[] = [];
    const clinic = await Clinic.open("left");
    const app = await proven(clinic, planned);
    await start(app);
    await answerAll(app);
    clinic.online = false;
    await finishForm(app);
    expect([screenOf(app), app.view.send_failure, planned.length]).toEqual([{ name: "saved" }, "offline", 1]);
    const again = appOn(clinic, deviceStore);
    clinic.online = true;
    await showFirstScreen(again, "");
    await sendNow(again, false);
    expect([clinic.received.length, again.view.outbox]).toEqual([1, []]);
  });

  test.each([
    [{ status: "refused", reason: "check", sha256: null }, "check"],
    [{ status: "stored", sha256: "00" }, "hash"],
  ])("%j is never called received, and the envelope stays", async (change, trouble) => {
    const clinic = await Clinic.open("left");
    const app = await proven(clinic);
    await start(app);
    await answerAll(app);
    clinic.spoil = (receipt) => ({ ...receipt, ...change });
    await finishForm(app);
    expect([screenOf(app), (await deviceStore.tables.all("outbox")).length]).toEqual([{ name: "refused", trouble }, 1]);
    clinic.spoil = (receipt) => receipt;
    await sendNow(app, true);
    expect([screenOf(app), await deviceStore.tables.all("outbox")]).toEqual([{ name: "received" }, []]);
  });

  test("when the disk refuses the envelope the page asks to stay open, and the answers still reach the clinic", async () => {
    const clinic = await Clinic.open("left");
    const app = await proven(clinic);
    await start(app);
    await answerAll(app);
    clinic.online = false;
    const { tables } = deviceStore;
    const full = new DOMException("full", "QuotaExceededError");
    app.context.deviceStore = { ...deviceStore, tables: { ...tables, get: tables.get.bind(tables), all: tables.all.bind(tables), write: () => Promise.reject(full) } };
    await finishForm(app);
    expect(screenOf(app)).toEqual({ name: "unsaved", begun_kept: true });
    app.context.deviceStore = deviceStore;
    clinic.online = true;
    await sendNow(app, false);
    expect([screenOf(app), clinic.received.length, await tables.all("drafts")]).toEqual([{ name: "received" }, 1, []]);
  });

  test("when the network comes back during a try, the next try follows at once", async () => {
    const planned: (() => void)[] = [];
    const clinic = await Clinic.open("left");
    const app = await proven(clinic, planned);
    await start(app);
    await answerAll(app);
    const { post } = app.context;
    app.context.post = async () => {
      app.context.post = post;
      void sendNow(app, false);
      return OFFLINE;
    };
    await finishForm(app);
    expect([screenOf(app), clinic.received.length, planned]).toEqual([{ name: "received" }, 1, []]);
  });

  test("a form finished in another window is not finished twice", async () => {
    const clinic = await Clinic.open("left");
    const [one, other] = [await proven(clinic), appOn(clinic, deviceStore)];
    await start(one);
    await answerAll(one);
    await showFirstScreen(other, "");
    await start(other);
    await finishForm(other);
    await finishForm(one);
    expect([screenOf(one), one.view.note, clinic.received.length]).toEqual([{ name: "forms" }, "elsewhere", 1]);
  });

  test("when the sealing part cannot be loaded the answers stay and the page says so", async () => {
    const app = await proven(await Clinic.open("left"));
    await start(app);
    await answerAll(app);
    app.context.loadSeal = () => Promise.reject(new TypeError("not found"));
    await finishForm(app);
    expect([screenOf(app), app.view.note, (await deviceStore.tables.all("drafts")).length]).toEqual([{ name: "review" }, "seal_failed", 1]);
  });

  test("when the words change halfway, the form goes on in those it was begun in and names them", async () => {
    const clinic = await Clinic.open("left");
    const app = await proven(clinic);
    await start(app);
    await give(app, "since@1/1", 0);
    clinic.sheet = structuredClone({ ...clinic.sheet, revision: 4 });
    clinic.sheet.texts["sst@1"]!["en"]!.text_id = "sst@1/en/newer";
    const again = appOn(clinic, deviceStore);
    await showFirstScreen(again, "");
    await refreshSheets(again);
    await start(again);
    await answerAll(again);
    await finishForm(again);
    const { sheet_revision, parts } = clinic.received[0]!;
    expect([sheet_revision, parts.map((part: { text_id: string }) => part.text_id)]).toEqual([4, ["since@1/en/x", "sst@1/en/x"]]);
  });

  test("a link that ended meanwhile keeps a form that was begun, and it can still be sent", async () => {
    const clinic = await Clinic.open("left");
    const app = await proven(clinic);
    await start(app);
    await answerAll(app);
    clinic.state = "ended";
    const again = appOn(clinic, deviceStore);
    await showFirstScreen(again, "");
    await refreshSheets(again);
    expect(again.view.people[0]?.sheet?.forms[0]?.gone).toBe(true);
    await start(again);
    await finishForm(again);
    expect([screenOf(again), clinic.received.length]).toEqual([{ name: "received" }, 1]);
  });
});

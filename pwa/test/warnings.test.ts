import "fake-indexeddb/auto";
import { IDBFactory } from "fake-indexeddb";
import { beforeEach, describe, expect, test } from "vitest";
import { answeredBy, back, changeItem, next, openForm, pick, toReview, warningRead } from "../src/app/answering";
import { finish } from "../src/app/finishing";
import { arrive, begin, openWithBirth } from "../src/app/opening";
import type { Phone } from "../src/app/phone";
import type { Value } from "../src/form/items";
import { chooseStorage, type Storage } from "../src/store/choose";
import { BORN, Clinic, phoneOn, TOKEN } from "./clinic";

/** Code 1 of this item warns. */
const FEVER = "sst@1/2";
const CALL_NOW = { name: "warning", key: FEVER };

let storage: Storage;
let clinic: Clinic;
beforeEach(async () => {
  globalThis.indexedDB = new IDBFactory();
  storage = await chooseStorage();
  clinic = await Clinic.open("left");
});

async function start(phone: Phone): Promise<void> {
  const person = phone.view.people[0]!;
  await openForm(phone, person, person.sheet!.forms[0]!);
}

async function give(phone: Phone, key: string, value: Value): Promise<void> {
  const step = phone.view.open!.steps.find((each) => each.key === key)!;
  await pick(phone, key, value);
  await next(phone, step);
}

/** At the review, with no warning answer. */
async function atReview(): Promise<Phone> {
  const phone = phoneOn(clinic, storage);
  await arrive(phone, TOKEN);
  await begin(phone);
  await openWithBirth(phone, BORN);
  await start(phone);
  const answers: [string, Value][] = [["since@1/1", 0], ["since@1/2", 12], ["since@1/3", 4], ["sst@1/1", 1], [FEVER, 0]];
  for (const [key, value] of answers) await give(phone, key, value);
  await answeredBy(phone, "patient");
  await toReview(phone);
  return phone;
}

async function loadedAgain(): Promise<Phone> {
  const phone = phoneOn(clinic, await chooseStorage());
  await arrive(phone, "");
  await start(phone);
  return phone;
}

describe("no form is sent before every call-now page was read", () => {
  test("a warning answer picked from the review and left by Back shows the page, then the review, and can then be sent", async () => {
    const phone = await atReview();
    await changeItem(phone, FEVER);
    await pick(phone, FEVER, 1);
    await back(phone);
    expect(phone.view.screen).toEqual(CALL_NOW);
    await back(phone);
    await back(phone);
    expect(phone.view.screen).toEqual(CALL_NOW);
    await warningRead(phone, FEVER);
    expect(phone.view.screen).toEqual({ name: "review" });
    await finish(phone);
    expect([phone.view.screen.name, clinic.received.length]).toEqual(["received", 1]);
  });

  test("loaded again without network, wherever it was left, the page still comes first; once read it does not come again", async () => {
    const phone = await atReview();
    await changeItem(phone, FEVER);
    await pick(phone, FEVER, 1);
    clinic.online = false;
    const again = await loadedAgain();
    expect(again.view.screen).toEqual({ name: "item", key: FEVER });
    await back(again);
    const third = await loadedAgain();
    expect(third.view.screen).toEqual(CALL_NOW);
    await warningRead(third, FEVER);
    expect((await loadedAgain()).view.screen).toEqual({ name: "review" });
  });

  test("Send itself refuses, also when the answer came from another window", async () => {
    const phone = await atReview();
    const other = await loadedAgain();
    await changeItem(other, FEVER);
    other.world.now = () => new Date("2026-11-25T08:05:00.000Z");
    await pick(other, FEVER, 1);
    await finish(phone);
    expect([phone.view.screen, phone.view.busy, clinic.received]).toEqual([CALL_NOW, false, []]);
    expect(await storage.tables.all("outbox")).toEqual([]);
    await warningRead(phone, FEVER);
    await finish(phone);
    expect(clinic.received.length).toBe(1);
  });

  test("an answer taken back and given anew must be read anew", async () => {
    const phone = await atReview();
    await changeItem(phone, FEVER);
    await give(phone, FEVER, 1);
    await warningRead(phone, FEVER);
    await changeItem(phone, FEVER);
    await give(phone, FEVER, 0);
    expect(phone.view.screen).toEqual({ name: "review" });
    await changeItem(phone, FEVER);
    await pick(phone, FEVER, 1);
    await back(phone);
    expect(phone.view.screen).toEqual(CALL_NOW);
  });

  test("where the disk refuses the page comes first all the same", async () => {
    const phone = await atReview();
    await changeItem(phone, FEVER);
    phone.world.storage = { ...storage, tables: { ...storage.tables, write: () => Promise.reject(new DOMException("full", "QuotaExceededError")) } };
    await pick(phone, FEVER, 1);
    await back(phone);
    await finish(phone);
    expect([phone.view.screen, phone.view.kept]).toEqual([CALL_NOW, "unsaved"]);
  });
});

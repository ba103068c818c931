import { describe, expect, test } from "vitest";
import { lastDay, mayLeave, openForm, pick } from "../src/app/answering";
import { arrive, begin, openWithBirth } from "../src/app/opening";
import type { Phone } from "../src/app/phone";
import { memoryTables } from "../src/store/tables";
import { BORN, Clinic, phoneOn, TOKEN } from "./clinic";

/** A form begun on a phone whose clock says `now` while the server's says 2026-11-25T08:00Z. */
async function begun(now: string): Promise<Phone> {
  const phone = phoneOn(await Clinic.open("left"), { tables: memoryTables(), keeps: "nothing" });
  phone.world.now = () => new Date(now);
  await arrive(phone, TOKEN);
  await begin(phone);
  await openWithBirth(phone, BORN);
  const person = phone.view.people[0]!;
  await openForm(phone, person, person.sheet!.forms[0]!);
  return phone;
}

async function takes(phone: Phone, month: string): Promise<boolean> {
  await pick(phone, "since@1/1a", month);
  return mayLeave(phone, phone.view.open!.steps.find((step) => step.key === "since@1/1a")!);
}

describe("the last month that is offered", () => {
  test("a clock that is days ahead offers no month that the clinic does not have yet", async () => {
    const phone = await begun("2026-12-03T12:00:00.000Z");
    expect(lastDay(phone)).toBe("2026-11-25");
    expect([await takes(phone, "2026-12"), await takes(phone, "2026-11")]).toEqual([false, true]);
  });

  test("a clock that is a year behind still offers the clinic's month", async () => {
    const phone = await begun("2025-11-25T08:00:00.000Z");
    expect(await takes(phone, "2026-11")).toBe(true);
  });

  test("time that passes after the clinic was heard counts on from there", async () => {
    const phone = await begun("2026-12-03T12:00:00.000Z");
    phone.world.now = () => new Date("2026-12-10T12:00:00.000Z");
    expect(lastDay(phone)).toBe("2026-12-02");
  });

  test("where the clinic's clock was never heard the phone's own day counts", async () => {
    const phone = await begun("2026-12-03T12:00:00.000Z");
    phone.view.open!.person.row.clock_skew_ms = null;
    expect(lastDay(phone)).toBe(phone.today());
  });
});

import { describe, expect, test } from "vitest";
import { answerItem, hasValidAnswer, lastDay, openForm } from "../src/app/answering";
import type { App } from "../src/app/app";
import { begin, openWithBirthDate, showFirstScreen } from "../src/app/opening";
import { memoryTables } from "../src/store/tables";
import { appOn, BORN, Clinic, TOKEN } from "./clinic";

/** A form begun on a phone whose clock says `now` while the server's says 2026-11-25T08:00Z. */
async function begun(now: string): Promise<App> {
  const app = appOn(await Clinic.open("left"), { tables: memoryTables(), persistence: "nothing" });
  app.context.now = () => new Date(now);
  await showFirstScreen(app, TOKEN);
  await begin(app);
  await openWithBirthDate(app, BORN);
  const person = app.view.people[0]!;
  await openForm(app, person, person.sheet!.forms[0]!);
  return app;
}

async function takes(app: App, month: string): Promise<boolean> {
  await answerItem(app, "since@1/1a", month);
  return hasValidAnswer(app, app.view.open!.steps.find((step) => step.key === "since@1/1a")!);
}

describe("the last month that is offered", () => {
  test("a clock that is days ahead offers no month that the clinic does not have yet", async () => {
    const app = await begun("2026-12-03T12:00:00.000Z");
    expect(lastDay(app)).toBe("2026-11-25");
    expect([await takes(app, "2026-12"), await takes(app, "2026-11")]).toEqual([false, true]);
  });

  test("a clock that is a year behind still offers the clinic's month", async () => {
    const app = await begun("2025-11-25T08:00:00.000Z");
    expect(await takes(app, "2026-11")).toBe(true);
  });

  test("time that passes after the clinic was heard counts on from there", async () => {
    const app = await begun("2026-12-03T12:00:00.000Z");
    app.context.now = () => new Date("2026-12-10T12:00:00.000Z");
    expect(lastDay(app)).toBe("2026-12-02");
  });

  test("where the clinic's clock was never heard the phone's own day counts", async () => {
    const app = await begun("2026-12-03T12:00:00.000Z");
    app.view.open!.person.row.clock_skew_ms = null;
    expect(lastDay(app)).toBe(app.today());
  });
});

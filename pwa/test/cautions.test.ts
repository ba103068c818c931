import { describe, expect, test } from "vitest";
import { clinicSigns } from "../src/form/cautions";
import type { Sheet } from "../src/form/due_sheet";
import { translator } from "../src/i18n";
import { Cautions } from "../src/screens/clinic_numbers";
import { memoryTables } from "../src/store/tables";
import { provenOn } from "./answering";
import { formOf, sheetOf } from "./cast";
import { Clinic } from "./clinic";
import { drawn } from "./drawn";

const TODAY = "2026-11-25";

const sheetAt = (timepoints: string[], operated_on: string | null = null): Sheet => ({
  ...sheetOf([]),
  operated_on,
  forms: timepoints.map((timepoint) => ({ ...formOf("left"), timepoint })),
});
const signs = (...timepoints: string[]): string[] => clinicSigns([sheetAt(timepoints)], TODAY);

describe("the signs for which the clinic is called today", () => {
  test("in the first weeks the wound and the calf are among them", () => {
    expect(signs("week-6")).toEqual(["caution_wound", "caution_fever", "caution_hand", "caution_calf", "caution_worse"]);
    expect(signs("month-3")).toEqual(signs("week-6"));
  });

  test("in year 15 there is no wound, but new pain or swelling", () => {
    expect(signs("year-15")).toEqual(["caution_fever", "caution_hand", "caution_worse", "caution_new"]);
  });

  test("before surgery there is neither", () => {
    expect(signs("baseline")).toEqual(["caution_fever", "caution_hand", "caution_worse"]);
  });

  test("two shoulders at different times have the signs of both", () => {
    expect(signs("week-6", "year-15")).toEqual([...signs("week-6"), "caution_new"]);
  });

  test("the other shoulder, operated two weeks ago, has its signs named though only a form of year 5 is open", () => {
    expect(clinicSigns([sheetAt(["year-5"], "2026-11-11")], TODAY)).toEqual(signs("week-6", "year-5"));
    expect(clinicSigns([sheetAt([], "2026-11-11")], TODAY)).toEqual(signs("week-6"));
    expect(clinicSigns([sheetAt(["year-5"], "2026-08-01")], TODAY)).toEqual(signs("year-5"));
  });

  test("while the phone knows no form, all are named, and the wound as a fresh one", () => {
    expect(signs()).toEqual(["caution_fresh_wound", "caution_fever", "caution_hand", "caution_calf", "caution_worse", "caution_new"]);
  });

  test("before anybody has said who they are, the form of another person on the phone hides none of them", async () => {
    const app = await provenOn(await Clinic.open("left"), { tables: memoryTables(), persistence: "nothing" });
    const words = (): string => drawn(Cautions({ app, view: app.view, t: translator("en"), short: true })).words;
    expect(words()).not.toContain("wound");
    app.go({ name: "start" });
    expect(words()).toContain("a fresh wound is red, hot or leaking");
    expect(words()).toContain("a calf is swollen or painful");
    app.go({ name: "ended", lookup: "another link", first_name: "" });
    expect(words()).toContain("a fresh wound is red, hot or leaking");
  });
});

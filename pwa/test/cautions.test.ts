import { describe, expect, test } from "vitest";
import { clinicSigns } from "../src/form/cautions";

describe("the signs for which the clinic is called today", () => {
  test("in the first weeks the wound and the calf are among them", () => {
    expect(clinicSigns(["week-6"])).toEqual(["caution_wound", "caution_fever", "caution_hand", "caution_calf", "caution_worse"]);
    expect(clinicSigns(["month-3"])).toEqual(clinicSigns(["week-6"]));
  });

  test("in year 15 there is no wound, but new pain or swelling", () => {
    expect(clinicSigns(["year-15"])).toEqual(["caution_fever", "caution_hand", "caution_worse", "caution_new"]);
  });

  test("before surgery there is neither", () => {
    expect(clinicSigns(["baseline"])).toEqual(["caution_fever", "caution_hand", "caution_worse"]);
  });

  test("two shoulders at different times have the signs of both", () => {
    expect(clinicSigns(["week-6", "year-15"])).toEqual([...clinicSigns(["week-6"]), "caution_new"]);
  });

  test("while the phone knows no form, all are named, and the wound as a fresh one", () => {
    expect(clinicSigns([])).toEqual(["caution_fresh_wound", "caution_fever", "caution_hand", "caution_calf", "caution_worse", "caution_new"]);
  });
});

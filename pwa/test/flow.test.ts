import { readFileSync } from "node:fs";
import { resolve } from "node:path";
import { describe, expect, test } from "vitest";
import type { Answer, Answers, Value } from "../src/form/due_sheet";
import { askedSteps, contactItems, isWarning, placeAfter, placeAfterChange, placeBefore, placeToResume, progress, stepsOf } from "../src/form/flow";
import { sheetOf } from "./cast";

const sheet = sheetOf(["left"]);
const form = sheet.forms[0]!;
const steps = stepsOf(form, sheet);
const at = "2026-01-01T00:00:00.000Z";

function answered(values: Record<string, Value>): Answers {
  const pairs = Object.entries(values).map(([key, value]): [string, Answer] => [key, { state: "answered", value, first_at: at, last_at: at }]);
  return Object.fromEntries(pairs);
}
const keys = (answers: Answers): string[] => askedSteps(steps, answers).map((step) => step.key);

describe("which item comes next", () => {
  test("an item is asked only when its condition is met", () => {
    expect(keys({})).toEqual(["since@1/1", "since@1/2", "since@1/3", "sst@1/1", "sst@1/2"]);
    expect(keys(answered({ "since@1/1": 1 }))).toContain("since@1/4");
    expect(keys(answered({ "since@1/1": 0 }))).not.toContain("since@1/4");
  });

  test("an item is not asked when the item it hangs on is not asked, whatever was answered there before", () => {
    const changed = answered({ "since@1/1": 0, "since@1/1a": 1 });
    expect(keys(changed)).not.toContain("since@1/1b");
    expect(keys({ ...changed, ...answered({ "since@1/1": 1 }) })).toContain("since@1/1b");
  });

  test("a declined gate asks nothing further", () => {
    expect(keys({ "since@1/1": { state: "declined", first_at: at, last_at: at } })).not.toContain("since@1/1a");
  });

  test("forward goes through the asked items to who answered, back the same way to the list of forms", () => {
    const walked: string[] = [];
    let place = placeToResume(null, steps, {});
    while (place.page === "item") {
      walked.push(place.key);
      place = placeAfter(place.key, steps, {});
      if (walked.length === 5) break;
    }
    expect(walked).toEqual(keys({}));
    const back: string[] = [];
    let earlier = placeBefore({ page: "who" }, steps, {});
    while (earlier?.page === "item") {
      back.unshift(earlier.key);
      earlier = placeBefore(earlier, steps, {});
    }
    expect([back, earlier]).toEqual([walked, null]);
  });

  test("after the last item an item passed over comes first, then who answered", () => {
    const all = answered({ "since@1/1": 0, "since@1/2": 3, "since@1/3": 4, "sst@1/1": 1, "sst@1/2": 0 });
    expect(placeAfter("sst@1/2", steps, all)).toEqual({ page: "who" });
    const { "since@1/3": _open, ...rest } = all;
    expect(placeAfter("sst@1/2", steps, rest)).toEqual({ page: "item", key: "since@1/3" });
  });

  test("a change from the review leads to the items it opened, then back to the review", () => {
    const all = answered({ "since@1/1": 1, "since@1/2": 3, "since@1/3": 4, "sst@1/1": 1, "sst@1/2": 0 });
    expect(placeAfterChange(steps, all)).toEqual({ page: "item", key: "since@1/1a" });
    expect(placeAfterChange(steps, { ...all, ...answered({ "since@1/1": 0 }) })).toEqual({ page: "review" });
  });

  test("a form is taken up at the same item or call-now page", () => {
    const some = answered({ "since@1/1": 0, "sst@1/2": 1 });
    expect(placeToResume({ page: "item", key: "since@1/3" }, steps, some)).toEqual({ page: "item", key: "since@1/3" });
    expect(placeToResume({ page: "warning", key: "sst@1/2" }, steps, some)).toEqual({ page: "warning", key: "sst@1/2" });
  });

  test("a place the sheet no longer has becomes the first open item", () => {
    expect(placeToResume({ page: "item", key: "gone@1/1" }, steps, answered({ "since@1/1": 0 }))).toEqual({ page: "item", key: "since@1/2" });
    expect(placeToResume({ page: "review" }, steps, {})).toEqual({ page: "item", key: "since@1/1" });
  });

  test("only the warning codes of an item warn", () => {
    const step = steps.find((each) => each.key === "sst@1/2")!;
    expect(isWarning(step, answered({ x: 1 }).x)).toBe(true);
    expect(isWarning(step, answered({ x: 0 }).x)).toBe(false);
    expect(isWarning(steps[0]!, answered({ x: 1 }).x)).toBe(false);
  });

  test("progress counts the questions that everybody is asked: the total never jumps", () => {
    expect(progress("since@1/2", steps)).toEqual({ place: 2, of: 5 });
    expect(progress("sst@1/2", steps)).toEqual({ place: 5, of: 5 });
    expect(["since@1/1", "since@1/1a", "since@1/1b"].map((key) => progress(key, steps).place)).toEqual([1, 1, 1]);
  });
});

test("the question how to reach the person is known by its follow-ups, which all name somebody", () => {
  const definition = JSON.parse(readFileSync(resolve(import.meta.dirname, "../../instruments/since/1/definition.json"), "utf8"));
  const items = definition.items.map((item: { item: string }) => item.item);
  const part = { instrument: "since@1", items };
  const real = stepsOf({ ...form, parts: [part] }, { ...sheet, instruments: { "since@1": definition } });
  expect(contactItems(real)).toEqual(["6", "6a", "6b", "6c", "6d"].map((item) => `since@1/${item}`));
  expect(contactItems(steps)).toEqual([]);
});

/** When the call-now page comes, on the shipped forms of the first weeks and of the years. */
import { readFileSync } from "node:fs";
import { resolve } from "node:path";
import { describe, expect, test } from "vitest";
import type { Answer, Answers, Definition, Item } from "../src/form/due_sheet";
import { isEmergency, placeAfter, type Step, unreadWarnings, warningBefore } from "../src/form/flow";

const at = "2026-01-01T00:00:00.000Z";

function stepsOf(spec: "early/2" | "since/2"): Step[] {
  const path = resolve(import.meta.dirname, `../../instruments/${spec}/definition.json`);
  const { id, version, items } = JSON.parse(readFileSync(path, "utf8")) as Definition;
  const instrument = `${id}@${version}`;
  return [...items, { item: "99", type: "choice", codes: [0, 1] } as Item].map((item) => ({ key: `${instrument}/${item.item}`, instrument, item }));
}

/** Goes through the form; gives the item after which the page came, and which answers it named. Each page is read. */
function pages(steps: Step[], codes: Record<string, number>): [string, string[]][] {
  const answers: Answers = {};
  const found: [string, string[]][] = [];
  let next: Step | undefined = steps[0];
  while (next) {
    const { key, item }: Step = next;
    answers[key] = { state: "answered", value: codes[item.item] ?? 0, first_at: at, last_at: at };
    const place = placeAfter(key, steps, answers);
    if (warningBefore(place, steps, answers)) {
      const named = unreadWarnings(steps, answers);
      found.push([item.item, named.map((step) => step.item.item)]);
      for (const step of named) (answers[step.key] as Answer & { read?: true }).read = true;
    }
    next = place.page === "item" ? steps.find((step) => step.key === place.key) : undefined;
  }
  return found;
}

describe("the call-now page", () => {
  test("several answers for the clinic come on one page, after the last of the warning questions", () => {
    expect(pages(stepsOf("early/2"), { 3: 1, 4: 1, 2: 1 })).toEqual([["5", ["3", "4", "2"]]]);
  });

  test("an answer for the emergency number brings it at once, with what was answered before", () => {
    expect(pages(stepsOf("early/2"), { 6: 1 })).toEqual([["6", ["6"]]]);
    expect(pages(stepsOf("early/2"), { 3: 1, 4: 2, 5: 1 })).toEqual([["4", ["3", "4"]], ["5", ["5"]]]);
    const cold = stepsOf("early/2").filter((step) => isEmergency(step, { state: "answered", value: 2, first_at: at, last_at: at }));
    expect(cold.map((step) => step.item.item)).toEqual(["3", "4"]);
  });

  test("an infection of long ago brings no page, one of the last two weeks does, once the events were asked", () => {
    expect(pages(stepsOf("since/2"), { 7: 1, 9: 1 })).toEqual([]);
    expect(pages(stepsOf("since/2"), { 7: 1, "7a": 1, 10: 1, "10a": 1 })).toEqual([["10a", ["7a", "10a"]]]);
    expect(pages(stepsOf("since/2"), { 7: 1, "7a": 1 })).toEqual([["10", ["7a"]]]);
  });

  test("no warning, no page", () => {
    expect([pages(stepsOf("early/2"), {}), pages(stepsOf("since/2"), {})]).toEqual([[], []]);
  });

  test("it comes before who answered, the review, and going back past the questions", () => {
    const steps = stepsOf("early/2");
    const answers: Answers = { "early@2/2": { state: "answered", value: 1, first_at: at, last_at: at } };
    const before = (page: "who" | "review"): string | undefined => warningBefore({ page }, steps, answers)?.key;
    expect([before("who"), before("review"), warningBefore({ page: "item", key: "early@2/1" }, steps, answers)?.key]).toEqual(Array(3).fill("early@2/2"));
    expect(warningBefore({ page: "item", key: "early@2/3" }, steps, answers)).toBeUndefined();
  });
});

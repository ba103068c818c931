import { readdirSync, readFileSync } from "node:fs";
import { join, resolve } from "node:path";
import { describe, expect, test } from "vitest";
import type { Definition, InstrumentText } from "../src/form/due_sheet";
import { sideToName } from "../src/form/side";

const ROOT = resolve(import.meta.dirname, "../../instruments");

function read(...path: string[]): unknown {
  return JSON.parse(readFileSync(join(ROOT, ...path), "utf8"));
}

/** Every question in English of the instruments that name a shoulder and are the owner's. */
function questions(): [string, Definition, InstrumentText["items"][string]][] {
  const folders = readdirSync(ROOT, { withFileTypes: true }).filter((each) => each.isDirectory() && !["plans", "ladders", "__pycache__"].includes(each.name));
  return folders.flatMap(({ name }) => {
    const definition = read(name, "1", "definition.json") as Definition;
    const text = read(name, "1", "text", "en.json") as InstrumentText;
    if (!definition.side || definition.kind === "form") return [];
    return Object.entries(text.items).map(([item, words]): [string, Definition, InstrumentText["items"][string]] => [`${name}/${item}`, definition, words]);
  });
}

describe("each question names the side", () => {
  test("in its own words, or by the line above them, and never twice", () => {
    const all = questions();
    const byWords = all.filter(([, , words]) => `${words.stem}${words.hint ?? ""}`.includes("{side}")).map(([key]) => key);
    const byLine = all.filter(([, definition, words]) => sideToName("left", definition, words) === "left").map(([key]) => key);
    expect([byWords.length > 0, byLine.length > 0]).toEqual([true, true]);
    expect([...byWords, ...byLine].sort()).toEqual(all.map(([key]) => key).sort());
  });

  test("a form of both shoulders, and the project's own questions, get no such line", () => {
    const words = { stem: "Has your address changed?" };
    const own: Definition = { id: "since", version: "2", kind: "form", side: true, items: [] };
    expect([sideToName(null, { ...own, kind: "instrument" }, words), sideToName("left", own, words)]).toEqual([null, null]);
  });
});

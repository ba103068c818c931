import { readFileSync } from "node:fs";
import { resolve } from "node:path";
import { describe, expect, test } from "vitest";
import { rulerTicks } from "../src/ruler";

const css = readFileSync(resolve(import.meta.dirname, "../src/styles/base.css"), "utf8");

function tokens(block: string | undefined): Record<string, string> {
  const pairs = [...(block ?? "").matchAll(/--([\w-]+):\s*(#[0-9a-f]{3,6});/g)].map((found) => [found[1], found[2]]);
  return Object.fromEntries(pairs) as Record<string, string>;
}
const light = tokens(/:root \{([^}]*)\}/.exec(css)?.[1]);
const dark = tokens(/prefers-color-scheme: dark\) \{\s*:root \{([^}]*)\}/.exec(css)?.[1]);

/** WCAG 2.2, relative luminance. */
function luminance(hex: string): number {
  const full = hex.length === 4 ? hex.replace(/[0-9a-f]/g, "$&$&") : hex;
  const [r, g, b] = [1, 3, 5].map((at) => {
    const part = Number.parseInt(full.slice(at, at + 2), 16) / 255;
    return part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4;
  }) as [number, number, number];
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
}

function contrast(one: string, other: string): number {
  const [low, high] = [luminance(one), luminance(other)].sort((a, b) => a - b) as [number, number];
  return (high + 0.05) / (low + 0.05);
}

describe.each([["light", light], ["dark", dark]])("the %s colours", (_name, colours) => {
  const text = ["ink", "soft", "action", "left", "right", "warn"];
  const onText = text.flatMap((ink) => ["paper", "sheet"].map((ground): [string, string] => [ink, ground]));
  const pairs: [string, string][] = [...onText, ["on-action", "action"], ["on-chosen", "chosen"], ["ink", "faint"]];
  test.each(pairs)("text in %s on %s has a contrast of 7 to 1", (ink, ground) => {
    expect(contrast(colours[ink] ?? "", colours[ground] ?? "")).toBeGreaterThanOrEqual(7);
  });

  test.each(["edge", "ochre"])("lines in %s have a contrast of 3 to 1", (line) => {
    expect(contrast(colours[line] ?? "", colours.paper ?? "")).toBeGreaterThanOrEqual(3);
  });
});

describe("the year marks", () => {
  test("ticks stand at even steps: done before, now at, ahead after the place", () => {
    const marks = rulerTicks(2, 3);
    expect(marks.map((mark) => [mark.x, mark.kind])).toEqual([[4, "done"], [164, "now"], [324, "ahead"]]);
  });

  test("past the end all are done, and one tick alone does not divide by zero", () => {
    expect(rulerTicks(4, 3).every((mark) => mark.kind === "done")).toBe(true);
    expect(rulerTicks(1, 1).map((mark) => mark.x)).toEqual([4]);
  });
});

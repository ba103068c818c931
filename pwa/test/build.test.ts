/** Builds into a folder of its own and holds the result to the serving contract and to the budget. */
import { execFileSync } from "node:child_process";
import { mkdtempSync, readdirSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";
import { gzipSync } from "node:zlib";
import { LANGUAGE_NAMES } from "../src/i18n";
import { afterAll, beforeAll, describe, expect, test } from "vitest";

let out = "";
const text = (name: string): string => readFileSync(join(out, name), "utf8");
const packed = (content: string | Buffer): number => gzipSync(content, { level: 9 }).length;

beforeAll(() => {
  out = mkdtempSync(join(tmpdir(), "phone-build-"));
  const root = resolve(import.meta.dirname, "..");
  const vite = join(root, "node_modules/vite/bin/vite.js");
  const env = { ...process.env, NODE_ENV: "production" };
  execFileSync(process.execPath, [vite, "build", "--outDir", out, "--emptyOutDir"], { cwd: root, env, stdio: "pipe" });
}, 60_000);
afterAll(() => rmSync(out, { recursive: true }));

function inlined(): { script: string; style: string } {
  const html = text("index.html");
  const script = /<script type="module">(.*?)<\/script>/s.exec(html)?.[1] ?? "";
  return { script, style: /<style>(.*?)<\/style>/s.exec(html)?.[1] ?? "" };
}

describe("the built phone app", () => {
  test("index.html has one script, one style and the place for the clinic's numbers, and nothing the policy forbids", () => {
    const html = text("index.html");
    expect(html.match(/<script\b/g)).toHaveLength(2);
    expect(html.match(/<style\b/g)).toHaveLength(1);
    expect(html).toContain('<script type="application/json" id="clinic">__CLINIC_JSON__</script>');
    expect(html.replace(inlined().script, "")).not.toMatch(/ (style|on\w+)=|javascript:|https?:\/\/(?!www\.w3\.org)/);
    expect(inlined().script).not.toMatch(/\beval\(|new Function|__FILE_|__IMPORT__|__APP_BUILD__/);
  });

  test("the worker has the place for the build and names every file that is there", () => {
    const named = ["index.html", "sw.js", "build.json", ...(/"([^"]*seal-[^"]*)"/.exec(text("sw.js"))?.[1] ?? "").split(" ")];
    expect(text("sw.js")).toContain("__BUILD__");
    expect(named.sort()).toEqual(readdirSync(out).sort());
  });

  test("the build's id is in build.json and in the script", () => {
    const { build: id } = JSON.parse(text("build.json")) as { build: string };
    expect(id).toMatch(/^\d+\.\d+\.\d+-[0-9a-f]{10}$/);
    expect(inlined().script).toContain(id);
  });

  test("no file holds what Safari 13 cannot read: big integers as literals, optional chaining, await outside a function", () => {
    const scripts = readdirSync(out).filter((each) => each.endsWith(".js"));
    expect(scripts).toHaveLength(["sw", "seal", "privacy"].length + Object.keys(LANGUAGE_NAMES).length - 1); // English is in the page
    for (const name of scripts) expect(text(name)).not.toMatch(/[^\w"'.]\d+n[^\w]|\w\?\.[a-z(]/);
    expect(inlined().script).not.toMatch(/\w\?\.[a-z(]|^await /);
  });

  test("the script that a first visit runs is at most 38 kB packed, and everything together at most 70 kB", () => {
    expect(packed(inlined().script)).toBeLessThanOrEqual(38_000);
    const files = readdirSync(out).filter((name) => name !== "build.json");
    expect(files.reduce((sum, name) => sum + packed(readFileSync(join(out, name))), 0)).toBeLessThanOrEqual(70_000);
  });
});

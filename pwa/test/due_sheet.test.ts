import { describe, expect, test } from "vitest";
import { utf8 } from "../src/bytes";
import { importDueKey } from "../src/link/derive";
import { BadSheet, keepBegun, openSheetBytes, readSheet } from "../src/link/sheet";
import { sheetOf } from "./cast";
import { type Case, fromHex, vectors } from "./vectors";

type DueSheet = Case & { due_key: string; lookup: string; revision: number; nonce: string; ciphertext: string; plain: string };
const { cases } = vectors<DueSheet>("due_sheet");

async function opened(given: DueSheet): Promise<string> {
  try {
    const key = await importDueKey(fromHex(given.due_key));
    return new TextDecoder().decode(await openSheetBytes(given, key, fromHex(given.lookup)));
  } catch (fault) {
    return (fault as BadSheet).fault;
  }
}

describe("the due sheet", () => {
  test.each(cases)("vector: $name", async (given) => {
    expect(await opened(given)).toBe(given.expect === "success" ? given.plain : given.expect);
  });

  test("a sheet of a later format or with an unknown type of item is refused as newer", () => {
    const later = { ...sheetOf(["left"]), format: 2 };
    const strange = sheetOf(["left"]);
    (strange.instruments["sst@1"]?.items[0] as { type: string }).type = "drawing";
    for (const sheet of [later, strange]) {
      expect(() => readSheet(utf8(JSON.stringify(sheet)))).toThrow("newer");
    }
    expect(() => readSheet(utf8("<html>"))).toThrow("not_json");
    expect(readSheet(utf8(JSON.stringify({ ...sheetOf(["left"]), unknown: 1 }))).forms).toHaveLength(1);
  });

  test("a form begun here stays when the clinic no longer asks for it, also when the link has ended", () => {
    const old = sheetOf(["left", "right"]);
    const [left, right] = old.forms.map((form) => form.form_id) as [string, string];
    const fresh = { ...sheetOf([]), revision: 9, instruments: {}, texts: {} };
    const kept = keepBegun(fresh, old, new Set([left]));
    expect(kept?.forms.map((form) => [form.form_id, form.gone])).toEqual([[left, true]]);
    expect(kept?.revision).toBe(9);
    expect(kept?.texts["sst@1"]).toEqual(old.texts["sst@1"]);
    expect(keepBegun(null, old, new Set([right]))?.forms.map((form) => form.form_id)).toEqual([right]);
    expect(keepBegun(null, old, new Set())).toBeNull();
  });
});

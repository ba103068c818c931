import { describe, expect, test } from "vitest";
import { utf8 } from "../src/bytes";
import type { Sheet } from "../src/form/due_sheet";
import { textFor } from "../src/form/payload";
import { importDueKey } from "../src/link/derive";
import { BadSheet, keepBegunForms, openSheetBytes, readSheet } from "../src/link/open_sheet";
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
    const kept = keepBegunForms(fresh, old, new Set([left]));
    expect(kept?.forms.map((form) => [form.form_id, form.gone])).toEqual([[left, true]]);
    expect(kept?.revision).toBe(9);
    expect(kept?.texts["sst@1"]).toEqual(old.texts["sst@1"]);
    expect(keepBegunForms(null, old, new Set([right]))?.forms.map((form) => form.form_id)).toEqual([right]);
    expect(keepBegunForms(null, old, new Set())).toBeNull();
  });

  describe("when the words of an instrument change while forms wait", () => {
    const old = sheetOf(["left", "right"]);
    const fresh = { ...sheetOf(["left", "right"]), revision: 9 };
    const changed = fresh.texts["sst@1"]!;
    changed["en"]!.text_id = "sst@1/en/y";
    const [left, right] = fresh.forms.map((form) => form.form_id) as [string, string];
    const idOf = (sheet: Sheet, at: number): string => textFor(sheet.forms[at]!, sheet, "sst@1", "en").text.text_id;

    test("a form that was begun goes on in its words, through a second change too; one that was not has the new words", () => {
      const once = keepBegunForms(fresh, old, new Set([left]))!;
      expect([idOf(once, 0), idOf(once, 1)]).toEqual(["sst@1/en/x", "sst@1/en/y"]);
      const later = { ...structuredClone(fresh), revision: 10 };
      later.texts["sst@1"]!["en"]!.text_id = "sst@1/en/z";
      const twice = keepBegunForms(later, once, new Set([left, right]))!;
      expect([idOf(twice, 0), idOf(twice, 1)]).toEqual(["sst@1/en/x", "sst@1/en/y"]);
    });

    test("words that lack an item that is now asked are not kept, and nothing is copied that did not change", () => {
      const short = structuredClone(old);
      delete short.texts["sst@1"]!["en"]!.items["2"];
      expect(idOf(keepBegunForms(fresh, short, new Set([left]))!, 0)).toBe("sst@1/en/y");
      expect(Object.keys(keepBegunForms(fresh, old, new Set([left]))!.forms[0]!.words!)).toEqual(["sst@1"]);
    });
  });
});

import { describe, expect, test } from "vitest";
import { toHex } from "../src/bytes";
import { BadToken, codeFromAddress, groupsToCheck, readToken } from "../src/link/token";
import { type Case, vectors } from "./vectors";

const CODE = "AAAQEAYEAUDAOCAJBIFQYDIOB4FO";

const { cases } = vectors<Case & { text: string; raw: string }>("token");

function faultOf(text: string): string {
  try {
    readToken(text);
    return "success";
  } catch (fault) {
    return (fault as BadToken).fault;
  }
}

describe("the code of a link", () => {
  test.each(cases)("vector: $name", ({ expect: expected, text, raw }) => {
    expect(faultOf(text)).toBe(expected);
    if (expected === "success") expect(toHex(readToken(text))).toBe(raw);
  });

  test("every single wrong character is caught", () => {
    const right = cases[0]!.text;
    expect(right).toHaveLength(28);
    for (let at = 0; at < right.length; at += 1) {
      for (const letter of "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567") {
        if (letter !== right[at]) expect(faultOf(right.slice(0, at) + letter + right.slice(at + 1))).toBe("check");
      }
    }
  });

  test("a whole link pasted, with the full stop a mail program left behind it, gives the code", () => {
    expect(codeFromAddress("https://clinic.example/p/#AAAQEAYEAUDAOCAJBIFQYDIOB4FO.")).toBe("AAAQEAYEAUDAOCAJBIFQYDIOB4FO");
    expect(codeFromAddress(" AAAQ-EAYE ")).toBe("AAAQ-EAYE");
  });

  test.each([
    ["a whole message", `Open this link: https://clinic.example/p/#${CODE}\n\nThe link is for you alone.`],
    ["broken by a mail program", "https://clinic.example/p/#AAAQEAYEAUDAO=\nCAJBIFQYDIOB4FO"],
    ["broken at the end of a line", "<https://clinic.example/p/#AAAQEAYEAUDAO\n CAJBIFQYDIOB4FO>"],
    ["with the sign written out", `https://clinic.example/p/%23${CODE}`],
    ["without the sign", `https://clinic.example/p/${CODE}`],
    ["in capitals, as a picture code holds it", `HTTPS://CLINIC.EXAMPLE/P/#${CODE}`],
    ["in wide letters", "ＡＡＡＱＥＡＹＥＡＵＤＡＯＣＡＪＢＩＦＱＹＤＩＯＢ４ＦＯ"],
    ["with characters that have no width", `\ufeff${CODE.slice(0, 9)}\u200b${CODE.slice(9)}`],
    ["in groups with a note behind it", "AAAQ-EAYE-AUDA-OCAJ-BIFQ-YDIO-B4FO (for Ada)"],
  ])("pasted %s, it is found", (_how, text) => {
    expect(faultOf(codeFromAddress(text))).toBe("success");
  });

  test("a character that no code has names its group", () => {
    expect(groupsToCheck("AAAQ EAY9 AUDA OCAJ BIFQ YDIO B4F%")).toEqual([2, 7]);
  });

  test("the usual slip of the eye names the group that it is in", () => {
    expect(groupsToCheck(CODE.replace("BIFQ", "BIEQ"))).toEqual([5]);
    expect(groupsToCheck(CODE.replace("AUDA", "AVDA"))).toEqual([3, 6]); // two slips would put it right
    expect(groupsToCheck(CODE.replace("OCAJ", "COAJ"))).toEqual([4]);
  });

  test("where the check tells nothing of the place, no group is named", () => {
    expect(groupsToCheck(CODE.replace("AUDA", "WWWW"))).toEqual([]);
    expect([groupsToCheck(CODE), groupsToCheck(CODE.slice(0, 20))]).toEqual([[], []]);
  });
});

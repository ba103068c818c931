import { describe, expect, test } from "vitest";
import { toHex } from "../src/bytes";
import { BadToken, codeFromAddress, readToken } from "../src/link/token";
import { type Case, vectors } from "./vectors";

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
});

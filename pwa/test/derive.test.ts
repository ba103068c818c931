import { describe, expect, test } from "vitest";
import { fromB64u, toHex } from "../src/bytes";
import { derive, type Derived, deriveKeys } from "../src/link/derive";
import { readToken } from "../src/link/token";
import { type Case, vectors } from "./vectors";

type Derivation = Case & Record<Derived | "token" | "born", string>;
const { cases } = vectors<Derivation>("derivation");

describe("derivations from link and birth date", () => {
  test.each(cases)("vector: $name", async (given) => {
    for (const what of ["lookup", "proof", "due_key", "answer_key"] as const) {
      expect(toHex(await derive(what, readToken(given.token), given.born))).toBe(given[what]);
    }
  });

  test("the keys cannot be read out", async () => {
    const given = cases[0] as Derivation;
    const keys = await deriveKeys(readToken(given.token), given.born);
    expect(toHex(fromB64u(keys.proof))).toBe(given.proof);
    expect([keys.due_key.extractable, keys.answer_key.extractable]).toEqual([false, false]);
    await expect(crypto.subtle.exportKey("raw", keys.answer_key)).rejects.toThrow();
  });
});

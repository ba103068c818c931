/** The test vectors that phone and server share. A test of each case needs at least one. */
import { readFileSync } from "node:fs";
import { resolve } from "node:path";
import type { Bytes } from "../src/bytes";

export interface Case {
  name: string;
  expect: string;
  [member: string]: unknown;
}

export function vectors<C extends Case, Whole = object>(name: string): Whole & { source: string; cases: C[] } {
  const read = JSON.parse(readFileSync(resolve(import.meta.dirname, `../../tests/vectors/${name}.json`), "utf8"));
  if (!read.cases.length) throw new Error(`${name}.json has no cases`);
  return read;
}

export function fromHex(text: string): Bytes {
  return Uint8Array.from(text.match(/../g) ?? [], (pair) => Number.parseInt(pair, 16));
}

/** The link's code: PROTOCOL.md section 1. */
import { type Bytes, packBits } from "../bytes";

export type TokenFault = "length" | "alphabet" | "check";

export class BadToken extends Error {
  constructor(readonly fault: TokenFault) {
    super(fault);
  }
}

const ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567";
const LOOK_ALIKE: Record<string, string> = { "0": "O", "1": "I", "8": "B" };
const BODY = 26;
const WHOLE = 28;
/** The order of 32 modulo this prime is 68, so each wrong character and each swap is caught. */
const PRIME = 1021;

/** Spaces, hyphens and characters without a width gone, upper case, digits that look like letters read as those letters. */
export function normalizeCode(typed: string): string {
  return typed
    .normalize("NFKC")
    .replace(/[\s\u00ad\u200b-\u200f\u2010-\u2015\u2060\ufeff-]/g, "")
    .toUpperCase()
    .replace(/[018]/g, (digit) => LOOK_ALIKE[digit] ?? digit);
}

const GROUP = 4;

/** In groups of four, as a letter prints it. */
export function groupsOf(code: string): string[] {
  return code.match(/.{1,4}/gu) ?? [];
}

/** The 16 bytes of a code as typed or as in the link. Throws BadToken. */
export function readToken(typed: string): Bytes {
  const text = normalizeCode(typed);
  if (text.length !== WHOLE) throw new BadToken("length");
  const digits = Array.from(text, (letter) => ALPHABET.indexOf(letter));
  if (digits.some((digit) => digit < 0)) throw new BadToken("alphabet");
  const { bytes, spare } = packBits(digits.slice(0, BODY), 5);
  const check = bytes.reduce((rest, byte) => (rest * 256 + byte) % PRIME, 0);
  const given = (digits[BODY] ?? 0) * 32 + (digits[BODY + 1] ?? 0);
  if (spare || check !== given) throw new BadToken("check");
  return bytes;
}

/** Characters that people take for one another. */
const MISREAD = ["S5", "Z2", "Z7", "G6", "GC", "UV", "IL", "IJ", "OQ", "OD", "QD", "CO", "MN", "EF", "PR", "XY", "VY", "WV", "B3", "T7", "UJ", "HN", "KX"];

function isRight(text: string): boolean {
  try {
    return readToken(text).length > 0;
  } catch {
    return false;
  }
}

/** Where a code of the right length would come right if one character were misread, or two neighbours swapped: numbers of groups, from 1. */
function groupsThatWouldFit(text: string): Set<number> {
  const fits = new Set<number>();
  const put = (at: number, ...letters: string[]): void => {
    if (isRight(text.slice(0, at) + letters.join("") + text.slice(at + letters.length))) fits.add(Math.floor(at / GROUP) + 1);
  };
  Array.from(text).forEach((letter, at) => {
    for (const pair of MISREAD) if (pair.includes(letter)) put(at, pair.replace(letter, ""));
    const next = text[at + 1];
    if (next && next !== letter) put(at, next, letter);
  });
  return fits;
}

/**
 * The groups to look at first, from 1. A character that no code has names its own. The check at the end tells that something is wrong
 * and not where; so groups are named only where the usual slips of the eye would put right one or two. It is a guess and is called so.
 */
export function groupsToCheck(typed: string): number[] {
  const text = normalizeCode(typed);
  const foreign = Array.from(text, (letter, at) => (ALPHABET.includes(letter) ? 0 : Math.floor(at / GROUP) + 1)).filter(Boolean);
  if (foreign.length) return [...new Set(foreign)];
  if (text.length !== WHOLE || isRight(text)) return [];
  const fits = [...groupsThatWouldFit(text)].sort();
  return fits.length <= MOST_GROUPS ? fits : [];
}

const MOST_GROUPS = 2;
const CODE = /^[\s-]*((?:[A-Za-z0-9][\s\u2010-\u2015-]*){27}[A-Za-z0-9])(?![A-Za-z0-9])/;

/** The code in what was pasted: a whole message, a link however it was broken or quoted, its fragment, or the code alone. */
export function codeFromAddress(text: string): string {
  const whole = text.normalize("NFKC").replace(/=\r?\n/g, "").replace(/[\u00ad\u200b-\u200f\u2060\ufeff]/g, "");
  const parts = whole.split(/#|%23/);
  const path = /\/p\/+([^/]*)$/.exec(whole);
  for (const part of [...parts.slice(1), path?.[1] ?? "", whole]) {
    const found = CODE.exec(part);
    if (found?.[1]) return found[1];
  }
  return (parts.length > 1 ? parts[parts.length - 1] ?? "" : whole).trim().replace(/[.,;:!)>\]]+$/, "");
}

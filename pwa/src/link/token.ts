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

/** Spaces and hyphens gone, upper case, digits that look like letters read as those letters. */
export function normalizeCode(typed: string): string {
  return typed
    .replace(/[\s\u2010-\u2015-]/g, "")
    .toUpperCase()
    .replace(/[018]/g, (digit) => LOOK_ALIKE[digit] ?? digit);
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

/** The code in an address: a link pasted whole, its fragment, or the code alone. Mail programs may leave a full stop behind it. */
export function codeFromAddress(text: string): string {
  const fragment = text.includes("#") ? text.slice(text.lastIndexOf("#") + 1) : text;
  return fragment.trim().replace(/[.,;:!)>\]]+$/, "");
}

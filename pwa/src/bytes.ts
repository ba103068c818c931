/** Bytes on their own buffer, as WebCrypto wants them. */
export type Bytes = Uint8Array<ArrayBuffer>;

const ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";

export class BadEncoding extends Error {}

export function utf8(text: string): Bytes {
  return new TextEncoder().encode(text) as Bytes;
}

export function join(...parts: Uint8Array[]): Bytes {
  const whole = new Uint8Array(parts.reduce((sum, part) => sum + part.length, 0));
  let at = 0;
  for (const part of parts) {
    whole.set(part, at);
    at += part.length;
  }
  return whole;
}

/** base64url without padding, RFC 4648 section 5. */
export function toB64u(bytes: Uint8Array): string {
  let text = "";
  for (let at = 0; at < bytes.length; at += 3) {
    const left = bytes.length - at;
    const group = ((bytes[at] ?? 0) << 16) | ((bytes[at + 1] ?? 0) << 8) | (bytes[at + 2] ?? 0);
    const digits = left > 2 ? 4 : left + 1;
    for (let digit = 0; digit < digits; digit += 1) text += ALPHABET[(group >> (18 - 6 * digit)) & 63];
  }
  return text;
}

/** Digits of `width` bits each as whole bytes, and what is left over in `spare`. */
export function packBits(digits: number[], width: number): { bytes: Bytes; spare: number } {
  const bytes = new Uint8Array(Math.floor((digits.length * width) / 8));
  let held = 0;
  let bits = 0;
  let at = 0;
  for (const digit of digits) {
    held = ((held << width) | digit) & 0xffff;
    bits += width;
    if (bits >= 8) {
      bits -= 8;
      bytes[at] = (held >> bits) & 255;
      at += 1;
    }
  }
  return { bytes, spare: held & ((1 << bits) - 1) };
}

/** Strict: no padding, no white space, no spare bits. Throws BadEncoding. */
export function fromB64u(text: string): Bytes {
  if (text.length % 4 === 1) throw new BadEncoding("length");
  const digits = Array.from(text, (letter) => ALPHABET.indexOf(letter));
  if (digits.some((digit) => digit < 0)) throw new BadEncoding("alphabet");
  const { bytes, spare } = packBits(digits, 6);
  if (spare) throw new BadEncoding("spare bits");
  return bytes;
}

export function toHex(bytes: Uint8Array): string {
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

export async function sha256(bytes: Bytes): Promise<Bytes> {
  return new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
}

/** A random UUID, version 4; `crypto.randomUUID` is missing before Safari 15.4. */
export function randomUuid(): string {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = ((bytes[6] ?? 0) & 0x0f) | 0x40;
  bytes[8] = ((bytes[8] ?? 0) & 0x3f) | 0x80;
  return toHex(bytes).replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

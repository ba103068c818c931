/** What is derived from the link's code and the birth date: PROTOCOL.md section 2. */
import { type Bytes, join, sha256, toB64u, utf8 } from "../bytes";

export interface LinkKeys {
  lookup: string;
  proof: string;
  due_key: CryptoKey;
  answer_key: CryptoKey;
  birth_check: number;
}

const LABELS = {
  lookup: "yearmark v1 lookup",
  proof: "yearmark v1 proof",
  due_key: "yearmark v1 due key",
  answer_key: "yearmark v1 answer key",
} as const;

export type Derived = keyof typeof LABELS;

/** 32 bytes by HKDF-SHA256 without salt. `born` is `YYYY-MM-DD`; the lookup takes the token alone. */
export async function derive(what: Derived, token: Bytes, born: string): Promise<Bytes> {
  const material = what === "lookup" ? token : join(token, utf8(born));
  const key = await crypto.subtle.importKey("raw", material, "HKDF", false, ["deriveBits"]);
  const how = { name: "HKDF", hash: "SHA-256", salt: new Uint8Array(0), info: utf8(LABELS[what]) };
  return new Uint8Array(await crypto.subtle.deriveBits(how, key, 256));
}

export async function deriveLookup(token: Bytes): Promise<string> {
  return toB64u(await derive("lookup", token, ""));
}

export function importDueKey(raw: Bytes): Promise<CryptoKey> {
  return crypto.subtle.importKey("raw", raw, "AES-GCM", false, ["decrypt"]);
}

export function importAnswerKey(raw: Bytes): Promise<CryptoKey> {
  return crypto.subtle.importKey("raw", raw, { name: "HMAC", hash: "SHA-256" }, false, ["sign"]);
}

/**
 * One byte by which a phone that several people use tells a mistaken birth date from the right one. The true date cannot be worked out
 * from it: one in 256 dates fits.
 */
export async function birthCheck(born: string): Promise<number> {
  return (await sha256(utf8(`yearmark birth check\0${born}`)))[0] ?? 0;
}

export async function deriveKeys(token: Bytes, born: string): Promise<LinkKeys> {
  const due = await derive("due_key", token, born);
  const answer = await derive("answer_key", token, born);
  const keys = {
    lookup: await deriveLookup(token),
    proof: toB64u(await derive("proof", token, born)),
    due_key: await importDueKey(due),
    answer_key: await importAnswerKey(answer),
    birth_check: await birthCheck(born),
  };
  due.fill(0);
  answer.fill(0);
  return keys;
}

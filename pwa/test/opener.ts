/** A clinic in miniature: opens what the phone seals, with the failure classes of PROTOCOL.md section 5. */
import { Aes256Gcm, CipherSuite, DhkemP256HkdfSha256, HkdfSha256 } from "@hpke/core";
import { type Bytes, fromB64u, join, utf8 } from "../src/bytes";
import { answerMac, LONGEST_ENVELOPE, SUITE } from "../src/seal/seal";

export class Refused extends Error {}

const MEMBERS = ["v", "suite", "key_id", "envelope_id", "lookup"];

function readHeader(bytes: Bytes): void {
  const text = new TextDecoder("utf-8", { fatal: true }).decode(bytes);
  const header = JSON.parse(text) as Record<string, unknown>;
  const named = [...text.matchAll(/"(\w+)":/g)].map((found) => found[1]);
  if (named.length !== MEMBERS.length || MEMBERS.some((name) => !named.includes(name))) throw new Error("members");
  if (!/"v":1[,}]/.test(text)) throw new Error("version"); // JSON.parse makes the same number of 1 and 1.0
  if (header.suite !== SUITE) throw new Error("suite");
}

export function parseEnvelope(text: string): { header: Bytes; sealed: Bytes } {
  if (text.length > LONGEST_ENVELOPE) throw new Refused("too_large");
  try {
    const [head, body, ...more] = text.split(".");
    if (head === undefined || body === undefined || more.length) throw new Error("parts");
    const parsed = { header: fromB64u(head), sealed: fromB64u(body) };
    readHeader(parsed.header);
    if (parsed.sealed.length < 65 + 32 + 16) throw new Error("short");
    return parsed;
  } catch {
    throw new Refused("malformed");
  }
}

/** The payload's JSON text. */
export async function openEnvelope(text: string, recipientKey: CryptoKey, answerKey: CryptoKey): Promise<string> {
  const { header, sealed } = parseEnvelope(text);
  const suite = new CipherSuite({ kem: new DhkemP256HkdfSha256(), kdf: new HkdfSha256(), aead: new Aes256Gcm() });
  const info = join(utf8("yearmark v1 envelope\0"), header).buffer;
  let plain: Bytes;
  try {
    const enc = sealed.slice(0, 65).buffer;
    plain = new Uint8Array(await suite.open({ recipientKey, enc, info }, sealed.slice(65).buffer, new ArrayBuffer(0)));
  } catch {
    throw new Refused("not_opened");
  }
  const expected = await answerMac(answerKey, header, plain.slice(32));
  if (expected.some((byte, at) => byte !== plain[at])) throw new Refused("wrong_answer_key");
  return new TextDecoder().decode(plain.slice(32));
}

export async function privateKey(scalar: Bytes): Promise<CryptoKey> {
  return new DhkemP256HkdfSha256().importKey("raw", scalar.slice().buffer, false);
}

/** Seals a form: PROTOCOL.md section 4. */
import { type Bytes, fromB64u, join, sha256, toB64u, toHex, utf8 } from "../bytes";
import { sealTo } from "./hpke";

export const SUITE = "0010-0001-0002";
export const LONGEST_ENVELOPE = 262_144;

export interface SealTo {
  key_id: string;
  suite: string;
  point: string;
}

export interface Envelope {
  envelope_id: string;
  text: string;
  /** Hex, of the ASCII text. */
  sha256: string;
}

export class CannotSeal extends Error {
  constructor(readonly fault: "suite" | "too_large") {
    super(fault);
  }
}

export function writeHeader(keyId: string, envelopeId: string, lookup: string): Bytes {
  return utf8(JSON.stringify({ v: 1, suite: SUITE, key_id: keyId, envelope_id: envelopeId, lookup }));
}

/** HMAC under the answer key over the header's hash and the payload, so that the public key alone forges nothing. */
export async function answerMac(answerKey: CryptoKey, header: Bytes, payload: Bytes): Promise<Bytes> {
  const bound = join(utf8("yearmark v1 answers\0"), await sha256(header), payload);
  return new Uint8Array(await crypto.subtle.sign("HMAC", answerKey, bound));
}

export interface ToSeal {
  /** JSON text */
  payload: string;
  to: SealTo;
  answerKey: CryptoKey;
  lookup: string;
  envelopeId: string;
}

export async function sealForm(what: ToSeal): Promise<Envelope> {
  if (what.to.suite !== SUITE) throw new CannotSeal("suite");
  const header = writeHeader(what.to.key_id, what.envelopeId, what.lookup);
  const payload = utf8(what.payload);
  const mac = await answerMac(what.answerKey, header, payload);
  const info = join(utf8("yearmark v1 envelope\0"), header);
  const sealed = await sealTo(fromB64u(what.to.point), info, join(mac, payload));
  const text = `${toB64u(header)}.${toB64u(sealed)}`;
  if (text.length > LONGEST_ENVELOPE) throw new CannotSeal("too_large");
  return { envelope_id: what.envelopeId, text, sha256: toHex(await sha256(utf8(text))) };
}

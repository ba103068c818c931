/** RFC 9180 base mode, P-256 / HKDF-SHA256 / AES-256-GCM. */
import { Aes256Gcm, CipherSuite, DhkemP256HkdfSha256, HkdfSha256 } from "@hpke/core";
import type { Bytes } from "../bytes";

export function suite(): CipherSuite {
  return new CipherSuite({ kem: new DhkemP256HkdfSha256(), kdf: new HkdfSha256(), aead: new Aes256Gcm() });
}

/**
 * `enc ‖ ct` for an uncompressed P-256 point; empty AAD.
 * The library takes whole buffers, and a view may show only part of one: each is copied.
 */
export async function sealTo(point: Bytes, info: Bytes, plaintext: Bytes): Promise<Bytes> {
  const ours = suite();
  const recipientPublicKey = await ours.kem.deserializePublicKey(point.slice().buffer);
  const sealed = await ours.seal({ recipientPublicKey, info: info.slice().buffer }, plaintext.slice().buffer, new ArrayBuffer(0));
  const whole = new Uint8Array(sealed.enc.byteLength + sealed.ct.byteLength);
  whole.set(new Uint8Array(sealed.enc));
  whole.set(new Uint8Array(sealed.ct), sealed.enc.byteLength);
  return whole;
}

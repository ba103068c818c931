/** AES-GCM for what lies on this phone. Each box is bound to its purpose, so that one cannot be put in another's place. */
import { type Bytes, utf8 } from "../bytes";

export interface SealedRow {
  iv: Bytes;
  ciphertext: Bytes;
}

export function newBoxKey(): Promise<CryptoKey> {
  return crypto.subtle.generateKey({ name: "AES-GCM", length: 256 }, false, ["encrypt", "decrypt"]);
}

export async function close(key: CryptoKey, purpose: string, value: unknown): Promise<SealedRow> {
  const iv = crypto.getRandomValues(new Uint8Array(12));
  const how = { name: "AES-GCM", iv, additionalData: utf8(purpose) };
  const ciphertext = new Uint8Array(await crypto.subtle.encrypt(how, key, utf8(JSON.stringify(value))));
  return { iv, ciphertext };
}

export async function open<T>(key: CryptoKey, purpose: string, box: SealedRow): Promise<T> {
  const how = { name: "AES-GCM", iv: box.iv, additionalData: utf8(purpose) };
  const bytes = await crypto.subtle.decrypt(how, key, box.ciphertext);
  return JSON.parse(new TextDecoder().decode(bytes)) as T;
}

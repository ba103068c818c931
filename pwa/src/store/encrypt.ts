/** AES-GCM for what this phone keeps. Each value is bound to its purpose, so that one cannot be put in another's place. */
import { type Bytes, utf8 } from "../bytes";

export interface EncryptedValue {
  iv: Bytes;
  ciphertext: Bytes;
}

export function newStorageKey(): Promise<CryptoKey> {
  return crypto.subtle.generateKey({ name: "AES-GCM", length: 256 }, false, ["encrypt", "decrypt"]);
}

export async function encryptJson(key: CryptoKey, purpose: string, value: unknown): Promise<EncryptedValue> {
  const iv = crypto.getRandomValues(new Uint8Array(12));
  const how = { name: "AES-GCM", iv, additionalData: utf8(purpose) };
  const ciphertext = new Uint8Array(await crypto.subtle.encrypt(how, key, utf8(JSON.stringify(value))));
  return { iv, ciphertext };
}

export async function decryptJson<T>(key: CryptoKey, purpose: string, box: EncryptedValue): Promise<T> {
  const how = { name: "AES-GCM", iv: box.iv, additionalData: utf8(purpose) };
  const bytes = await crypto.subtle.decrypt(how, key, box.ciphertext);
  return JSON.parse(new TextDecoder().decode(bytes)) as T;
}

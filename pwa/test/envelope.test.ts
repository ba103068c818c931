import { describe, expect, test } from "vitest";
import { sha256, toB64u, toHex, utf8 } from "../src/bytes";
import { importAnswerKey } from "../src/link/derive";
import { CannotSeal, sealForm } from "../src/seal/seal";
import { openEnvelope, privateKey, type Refused } from "./opener";
import { type Case, fromHex, vectors } from "./vectors";

type Envelope = Case & { envelope: string; sha256: string };
type Whole = Record<"private_scalar" | "public_point" | "answer_key" | "key_id" | "envelope_id" | "lookup" | "payload", string> & {
  too_large_length: number;
};
const document = vectors<Envelope, Whole>("envelope");

async function opened(text: string): Promise<string> {
  const answerKey = await importAnswerKey(fromHex(document.answer_key));
  try {
    return await openEnvelope(text, await privateKey(fromHex(document.private_scalar)), answerKey);
  } catch (fault) {
    return (fault as Refused).message;
  }
}

async function sealed(payload: string, suite = "0010-0001-0002"): ReturnType<typeof sealForm> {
  const to = { key_id: document.key_id, suite, point: document.public_point };
  const answerKey = await importAnswerKey(fromHex(document.answer_key));
  return sealForm({ payload, to, answerKey, lookup: toB64u(fromHex(document.lookup)), envelopeId: document.envelope_id });
}

describe("the envelope", () => {
  test.each(document.cases)("vector: $name", async (given) => {
    expect(await opened(given.envelope)).toBe(given.expect === "success" ? document.payload : given.expect);
    if (given.sha256) expect(toHex(await sha256(utf8(given.envelope)))).toBe(given.sha256);
  });

  test("what the phone seals opens with the clinic's key and has the header of the vectors", async () => {
    const envelope = await sealed(document.payload);
    expect(await opened(envelope.text)).toBe(document.payload);
    expect(envelope.text.split(".")[0]).toBe(document.cases[0]?.envelope.split(".")[0]);
    expect(envelope.sha256).toBe(toHex(await sha256(utf8(envelope.text))));
  });

  test("one character too many is too large, whatever it says", async () => {
    expect(await opened("A".repeat(document.too_large_length))).toBe("too_large");
  });

  test("the same payload seals to other bytes each time", async () => {
    expect((await sealed(document.payload)).text).not.toBe((await sealed(document.payload)).text);
  });

  test("another suite and a form too large for the server are refused before anything is kept", async () => {
    await expect(sealed(document.payload, "0020-0001-0002")).rejects.toThrow(CannotSeal);
    await expect(sealed("x".repeat(200_000))).rejects.toThrow("too_large");
  });
});

import { describe, expect, test } from "vitest";
import { toHex, utf8 } from "../src/bytes";
import { sealTo, suite } from "../src/seal/hpke";
import { privateKey } from "./opener";
import { type Case, fromHex, vectors } from "./vectors";

type Official = Case & Record<"info" | "ikmE" | "pkEm" | "skRm" | "pkRm" | "enc", string> & {
  encryptions: { aad: string; ct: string; nonce: string; pt: string }[];
};
const { cases } = vectors<Official>("hpke");

const buffer = (hex: string): ArrayBuffer => fromHex(hex).buffer;

describe("HPKE in the suite in use, against the official vectors of RFC 9180", () => {
  test.each(cases)("what the vectors sealed opens: $name", async (given) => {
    const recipientKey = await privateKey(fromHex(given.skRm));
    const recipient = await suite().createRecipientContext({ recipientKey, enc: buffer(given.enc), info: buffer(given.info) });
    expect(given.encryptions.length).toBeGreaterThan(0);
    for (const each of given.encryptions) {
      expect(toHex(new Uint8Array(await recipient.open(buffer(each.ct), buffer(each.aad))))).toBe(each.pt);
    }
  });

  test.each(cases)("the same ephemeral key seals to the same bytes: $name", async (given) => {
    const ours = suite();
    const recipientPublicKey = await ours.kem.deserializePublicKey(buffer(given.pkRm));
    const ekm = await ours.kem.deriveKeyPair(buffer(given.ikmE));
    const sender = await ours.createSenderContext({ recipientPublicKey, info: buffer(given.info), ekm });
    expect(toHex(new Uint8Array(sender.enc))).toBe(given.enc);
    expect(given.encryptions.length).toBeGreaterThan(0);
    for (const each of given.encryptions) {
      expect(toHex(new Uint8Array(await sender.seal(buffer(each.pt), buffer(each.aad))))).toBe(each.ct);
    }
  });

  test("a view on part of a larger buffer is sealed as that part only", async () => {
    const given = cases[0] as Official;
    const whole = utf8("xxpayloadxx");
    const sealed = await sealTo(fromHex(given.pkRm), whole.subarray(0, 2), whole.subarray(2, 9));
    const open = { recipientKey: await privateKey(fromHex(given.skRm)), enc: sealed.slice(0, 65).buffer, info: utf8("xx").buffer };
    const plain = await suite().open(open, sealed.slice(65).buffer, new ArrayBuffer(0));
    expect(new TextDecoder().decode(plain)).toBe("payload");
  });
});

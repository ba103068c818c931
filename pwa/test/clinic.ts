/** A server in miniature for whole journeys: proves, hands out the sheet, opens what it receives. */
import { App, type AppContext, type Tries } from "../src/app/app";
import { readDeviceStore } from "../src/app/device";
import { fromB64u, join, sha256, toB64u, toHex, utf8 } from "../src/bytes";
import type { Sheet } from "../src/form/due_sheet";
import { es } from "../src/i18n/es";
import { derive, importAnswerKey } from "../src/link/derive";
import { readToken } from "../src/link/token";
import * as privacy from "../src/late/privacy";
import * as sealing from "../src/seal/sealing";
import type { DeviceStore } from "../src/store/device_store";
import type { Post, Reply } from "../src/sync/http";
import { CLINIC, clinicKey, sheetOf } from "./cast";
import { openEnvelope } from "./opener";

export const TOKEN = "AAAQEAYEAUDAOCAJBIFQYDIOB4FO";
export const BORN = "1952-02-29";
export const OFFLINE: Reply = { kind: "later", why: "offline", after_ms: null };

export class Clinic {
  state = "due";
  /** Of the restore that it last came out of; a server of before names none. */
  restored_at: string | null | undefined = null;
  online = true;
  /** It knows the link; if not, it answers as to a wrong birth date. */
  known = true;
  /** Changes a receipt before it goes out. */
  spoil: (receipt: Record<string, unknown>) => object = (receipt) => receipt;
  asked = 0;
  refused = 0;
  received: Record<string, any>[] = [];
  token = TOKEN;
  born = BORN;

  private constructor(
    public sheet: Sheet,
    private readonly privateKey: CryptoKey,
  ) {}

  static async open(...sides: ("left" | "right")[]): Promise<Clinic> {
    const { privateKey, point } = await clinicKey();
    return new Clinic(sheetOf(sides, point), privateKey);
  }

  lookup(): Promise<string> {
    return derive("lookup", readToken(this.token), "").then(toB64u);
  }

  post: Post = async (path, body) => {
    if (!this.online) return OFFLINE;
    return path === "/api/due" ? this.due(body as { proof: string }) : this.take(body as { envelopes: { envelope: string }[] });
  };

  private async due({ proof }: { proof: string }): Promise<Reply> {
    this.asked += 1;
    const token = readToken(this.token);
    if (!this.known || proof !== toB64u(await derive("proof", token, this.born))) return { kind: "denied" };
    const over = this.state === "ended" || this.state === "replaced";
    return { kind: "ok", json: { state: this.state, sheet: over ? null : await this.sealed(), server_time: "2026-11-25T08:00:00.000Z", restored_at: this.restored_at } };
  }

  private async sealed(): Promise<object> {
    const token = readToken(this.token);
    const { revision } = this.sheet;
    const bound = join(utf8("yearmark v1 due sheet\0"), await derive("lookup", token, ""), new Uint8Array([0, 0, 0, 0, 0, 0, 0, revision]));
    const key = await crypto.subtle.importKey("raw", await derive("due_key", token, this.born), "AES-GCM", false, ["encrypt"]);
    const iv = new Uint8Array(12);
    const how = { name: "AES-GCM", iv, additionalData: bound };
    const ciphertext = new Uint8Array(await crypto.subtle.encrypt(how, key, utf8(JSON.stringify(this.sheet))));
    return { revision, nonce: toB64u(iv), ciphertext: toB64u(ciphertext) };
  }

  private async take({ envelopes }: { envelopes: { envelope: string }[] }): Promise<Reply> {
    const answerKey = await importAnswerKey(await derive("answer_key", readToken(this.token), this.born));
    const receipts = [];
    for (const { envelope } of envelopes) {
      if (!this.known) {
        this.refused += 1;
        receipts.push({ envelope_id: null, status: "refused", reason: "check", sha256: null, restored_at: null });
        continue;
      }
      this.received.push(JSON.parse(await openEnvelope(envelope, this.privateKey, answerKey)));
      const header = JSON.parse(new TextDecoder().decode(fromB64u(envelope.split(".")[0] ?? "")));
      const sha = toHex(await sha256(utf8(envelope)));
      receipts.push(this.spoil({ envelope_id: header.envelope_id, status: "stored", reason: null, sha256: sha, received_at: "", restored_at: this.restored_at }));
    }
    return { kind: "ok", json: { receipts } };
  }
}

/** One clinic's network, with a link of each: what is asked or sent goes to the one that it names. */
export async function together(...links: Clinic[]): Promise<Post> {
  const byLookup = new Map<string, Clinic>();
  for (const link of links) byLookup.set(await link.lookup(), link);
  return async (path, body) => {
    const { lookup, envelopes } = body as { lookup: string; envelopes: { envelope: string }[] };
    if (path === "/api/due") return byLookup.get(lookup)!.post(path, body);
    const receipts: unknown[] = [];
    for (const each of envelopes) {
      const header = JSON.parse(new TextDecoder().decode(fromB64u(each.envelope.split(".")[0] ?? ""))) as { lookup: string };
      const reply = await byLookup.get(header.lookup)!.post(path, { envelopes: [each] });
      if (reply.kind !== "ok") return reply;
      receipts.push(...(reply.json as { receipts: unknown[] }).receipts);
    }
    return { kind: "ok", json: { receipts } };
  };
}

export function memoryTries(): Tries {
  const kept = new Map<string, number>();
  return { of: (lookup) => kept.get(lookup) ?? 0, note: (lookup, tries) => void kept.set(lookup, tries) };
}

/** A phone on this clinic. `setTimer` collects what was planned instead of waiting for it. */
export function appOn(clinic: Clinic, deviceStore: DeviceStore, planned: (() => void)[] = []): App {
  const context: AppContext = {
    deviceStore,
    clinic: CLINIC,
    languages: ["en", "es"],
    post: clinic.post,
    now: () => new Date("2026-11-25T08:00:01.500Z"),
    random: () => 0.5,
    loadSeal: async () => sealing,
    loadPrivacy: async () => privacy,
    loadCatalogue: async () => es,
    tries: memoryTries(),
    build: "test",
    screen: "360x640",
    agent: "test",
    time_zone: "UTC",
    askToKeep: async () => false,
    ios: false,
    tellForgotten: () => undefined,
    setTimer: (work) => {
      planned.push(work);
      return () => undefined;
    },
  };
  const app = new App(context);
  app.storageRead = readDeviceStore(app);
  return app;
}

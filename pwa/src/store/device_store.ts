/** The device store: tables on disk or in memory, by what this phone turns out to keep when it is tried. */
import { newStorageKey } from "./encrypt";
import { indexedDbTables } from "./indexed_db";
import { memoryTables, outboxOnDisk, type Tables } from "./tables";

/**
 * `all`: everything; `sealed_only`: finished forms, but no half-finished ones, because keys cannot be stored
 * (Lockdown Mode, some private modes); `nothing`: only while the page is open.
 */
export type Persistence = "all" | "sealed_only" | "nothing";

export interface DeviceStore {
  tables: Tables;
  persistence: Persistence;
}

const PROBE = "probe";
const TWELVE_ZEROS = new Uint8Array(12);

async function tryToWrite(disk: Tables): Promise<"written" | "full" | "refused"> {
  const row = { envelope_id: PROBE, form_id: "", lookup: "", proof: "", text: "", sha256: "", saved_at: "", trouble: null };
  try {
    await disk.write([{ table: "outbox", put: row }]);
    await disk.write([{ table: "outbox", remove: PROBE }]);
    return "written";
  } catch (fault) {
    return (fault as Error).name === "QuotaExceededError" ? "full" : "refused";
  }
}

/** A stored key must come back as a key that works: WebKit has returned null for some. */
async function canKeepKeys(disk: Tables): Promise<boolean> {
  try {
    const key = await newStorageKey();
    const row = { lookup: PROBE, proof: "", due_key: key, answer_key: key, draft_key: key, state: "due" as const, sheet: null };
    await disk.write([{ table: "people", put: { ...row, sent: [], clock_skew_ms: null, language: null } }]);
    const back = await disk.get("people", PROBE);
    await disk.write([{ table: "people", remove: PROBE }]);
    if (!back) return false;
    await crypto.subtle.encrypt({ name: "AES-GCM", iv: TWELVE_ZEROS }, back.draft_key, TWELVE_ZEROS);
    return true;
  } catch {
    return false;
  }
}

/** `onLost`: what was kept may be gone, and is to be written again. */
export async function openDeviceStore(onLost?: () => void): Promise<DeviceStore> {
  if (typeof indexedDB === "undefined") return { tables: memoryTables(), persistence: "nothing" };
  const disk = indexedDbTables(onLost);
  const found = await tryToWrite(disk);
  if (found === "refused") return { tables: memoryTables(), persistence: "nothing" };
  // What lies on a full disk can still be read and sent; what it refuses from now on stays in the page, which says so.
  if (found === "full") return { tables: disk, persistence: "all" };
  if (!(await canKeepKeys(disk))) return { tables: outboxOnDisk(disk, memoryTables()), persistence: "sealed_only" };
  return { tables: disk, persistence: "all" };
}

/** Finish: seal, then one transaction, then send, then forget on the right receipt only. */
import { randomUuid } from "../bytes";
import { payloadOf, type Circumstances } from "../form/payload";
import { CannotSeal, sealForm } from "../seal/seal";
import { forget, outboxRow, putInOutbox } from "../store/outbox";
import { Conflict, type OutboxRow } from "../store/tables";
import { sendOutbox, waitBefore, type SendReport } from "../sync/send";
import { leave, save, warningsRead } from "./answering";
import { reload } from "./opening";
import type { OpenForm, Phone } from "./phone";

function around(phone: Phone, open: OpenForm): Circumstances {
  const now = phone.world.now();
  return {
    language: phone.view.language,
    build: phone.world.build,
    opened_at: open.draft.opened_at,
    finished_at: now.toISOString(),
    utc_offset_minutes: -now.getTimezoneOffset(),
    time_zone: phone.world.time_zone,
    clock_skew_ms: open.person.row.clock_skew_ms,
    answered_by: open.draft.answered_by ?? "patient",
    device: phone.world.device,
  };
}

async function seal(phone: Phone, open: OpenForm): Promise<OutboxRow> {
  const sealTo = await phone.world.loadSeal();
  const what = {
    payload: payloadOf(open.form, open.sheet, open.draft.answers, around(phone, open)),
    to: open.sheet.public_key,
    answerKey: open.person.row.answer_key,
    lookup: open.person.row.lookup,
    envelopeId: randomUuid(),
  };
  return outboxRow(await sealForm(what, sealTo), open.form.form_id, open.person.row, phone.instant());
}

/** True once the envelope is on disk and the draft gone; false when the disk refuses. Throws Conflict when another tab was faster. */
async function store(phone: Phone, row: OutboxRow, open: OpenForm): Promise<boolean> {
  try {
    await putInOutbox(row, open.draft, phone.tables);
    return phone.world.storage.keeps !== "nothing";
  } catch (fault) {
    // A connection lost after its commit is tried again and then finds its own work done.
    if (fault instanceof Conflict) {
      if (await phone.tables.get("outbox", row.envelope_id)) return true;
      throw fault;
    }
    await phone.spare.write([{ table: "outbox", put: row }]);
    return false;
  }
}

export async function finish(phone: Phone): Promise<void> {
  phone.change({ busy: true, note: null });
  await save(phone);
  if (!(await warningsRead(phone))) return;
  const { open } = phone.view;
  if (!open) return;
  let row: OutboxRow;
  try {
    row = await seal(phone, open);
  } catch (fault) {
    const newer = fault instanceof CannotSeal && fault.fault === "suite";
    return phone.change({ busy: false, note: newer ? "seal_failed_newer" : "seal_failed" });
  }
  try {
    const onDisk = await store(phone, row, open);
    phone.change({ open: null, kept: "none", held_up: null });
    await reload(phone);
    phone.go({ name: onDisk ? "saved" : "unsaved", row });
  } catch (fault) {
    if (!(fault instanceof Conflict)) throw fault;
    return leave(phone, "elsewhere");
  }
  await sendNow(phone, false);
}

/** A form from memory was received: what is left of it on disk goes too, if the disk answers. */
async function settleSpare(phone: Phone, report: SendReport, rows: OutboxRow[]): Promise<void> {
  for (const outcome of report.outcomes.filter((each) => each.kind === "received")) {
    const row = rows.find((each) => each.envelope_id === outcome.envelope_id);
    if (!row) continue;
    await forget(row, phone.tables).catch(() => undefined);
    await phone.tables.write([{ table: "drafts", remove: row.form_id }]).catch(() => undefined);
  }
}

function showOutcome(phone: Phone, report: SendReport, rows: OutboxRow[]): void {
  const { screen } = phone.view;
  const received = rows.find((row) => report.outcomes.some((each) => each.kind === "received" && each.envelope_id === row.envelope_id));
  // A phone that keeps no keys knows nobody after a restart; its last sealed form has just gone out.
  if (screen.name === "forms" && !phone.view.people.length && received) return phone.go({ name: "received", row: received });
  if (!("row" in screen)) return;
  const outcome = report.outcomes.find((each) => each.envelope_id === screen.row.envelope_id);
  if (outcome?.kind === "received") phone.go({ name: "received", row: screen.row });
  if (outcome?.kind === "kept") phone.go({ name: "refused", row: screen.row, trouble: outcome.trouble });
}

/** One try to send all that waits; `again` includes what the server refused before. */
export async function sendNow(phone: Phone, again: boolean): Promise<void> {
  if (phone.view.sending) return;
  phone.callOff();
  phone.change({ sending: true });
  try {
    const kept = await phone.tables.all("outbox");
    const loose = await phone.spare.all("outbox");
    const report = await sendOutbox(phone.tables, phone.world.post, again);
    const spare = loose.length ? await sendOutbox(phone.spare, phone.world.post, again) : { outcomes: [], later: null };
    await settleSpare(phone, spare, loose);
    const later = report.later ?? spare.later;
    await reload(phone);
    phone.change({ sending: false, held_up: later?.why ?? null });
    showOutcome(phone, { outcomes: [...report.outcomes, ...spare.outcomes], later }, [...kept, ...loose]);
    planNext(phone, later);
  } catch {
    phone.change({ sending: false });
    planNext(phone, { after_ms: null });
  }
}

function planNext(phone: Phone, later: { after_ms: number | null } | null): void {
  if (!later) {
    phone.sendTries = 0;
    return;
  }
  const wait = Math.max(later.after_ms ?? 0, waitBefore(phone.sendTries, phone.world.chance()));
  phone.sendTries += 1;
  phone.callOff = phone.world.later(() => void sendNow(phone, false), wait);
}

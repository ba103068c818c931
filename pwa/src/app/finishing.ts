/** Finishing a form: seal it, store the envelope and drop the draft in one transaction, send, delete only on the right receipt. */
import { randomUuid } from "../bytes";
import { payloadOf, type ResponseContext } from "../form/payload";
import { CannotSeal, sealForm } from "../seal/seal";
import { newOutboxRow, putInOutbox, removeReceived } from "../store/outbox";
import { Conflict, type OutboxRow } from "../store/tables";
import { retryDelay, sendOutbox, type SendReport } from "../sync/send";
import { checkWarningsRead, leaveForm, saveOpenDraft } from "./answering";
import type { App, OpenForm } from "./app";
import { readDeviceStore } from "./opening";

function responseContext(app: App, open: OpenForm): ResponseContext {
  const now = app.context.now();
  return {
    language: app.view.language,
    build: app.context.build,
    opened_at: open.draft.opened_at,
    finished_at: now.toISOString(),
    utc_offset_minutes: -now.getTimezoneOffset(),
    time_zone: app.context.time_zone,
    clock_skew_ms: open.person.row.clock_skew_ms,
    answered_by: open.draft.answered_by ?? "patient",
    device: app.context.device,
  };
}

async function seal(app: App, open: OpenForm): Promise<OutboxRow> {
  const sealTo = await app.context.loadSeal();
  const what = {
    payload: payloadOf(open.form, open.sheet, open.draft.answers, responseContext(app, open)),
    to: open.sheet.public_key,
    answerKey: open.person.row.answer_key,
    lookup: open.person.row.lookup,
    envelopeId: randomUuid(),
  };
  return newOutboxRow(await sealForm(what, sealTo), open.form.form_id, open.person.row, app.instant());
}

/** True once the envelope is on disk and the draft gone; false when the disk refuses. Throws Conflict when another tab was faster. */
async function storeEnvelope(app: App, row: OutboxRow, open: OpenForm): Promise<boolean> {
  try {
    await putInOutbox(row, open.draft, app.tables);
    return app.context.deviceStore.persistence !== "nothing";
  } catch (fault) {
    // A connection lost after its commit is tried again and then finds its own work done.
    if (fault instanceof Conflict) {
      if (await app.tables.get("outbox", row.envelope_id)) return true;
      throw fault;
    }
    await app.memoryOutbox.write([{ table: "outbox", put: row }]);
    return false;
  }
}

export async function finishForm(app: App): Promise<void> {
  app.change({ busy: true, note: null });
  await saveOpenDraft(app);
  if (!(await checkWarningsRead(app))) return;
  const { open } = app.view;
  if (!open) return;
  let row: OutboxRow;
  try {
    row = await seal(app, open);
  } catch (fault) {
    const newer = fault instanceof CannotSeal && fault.fault === "suite";
    return app.change({ busy: false, note: newer ? "seal_failed_newer" : "seal_failed" });
  }
  try {
    const onDisk = await storeEnvelope(app, row, open);
    app.change({ open: null, draft_status: "none", send_failure: null });
    await readDeviceStore(app);
    app.go({ name: onDisk ? "saved" : "unsaved", row });
  } catch (fault) {
    if (!(fault instanceof Conflict)) throw fault;
    return leaveForm(app, "elsewhere");
  }
  await sendNow(app, false);
}

/** The clinic has a form that lay in memory only: its draft on disk is deleted too, if the disk answers. */
async function removeReceivedRows(app: App, report: SendReport, rows: OutboxRow[]): Promise<void> {
  for (const outcome of report.outcomes.filter((each) => each.kind === "received")) {
    const row = rows.find((each) => each.envelope_id === outcome.envelope_id);
    if (!row) continue;
    await removeReceived(row, app.tables).catch(() => undefined);
    await app.tables.write([{ table: "drafts", remove: row.form_id }]).catch(() => undefined);
  }
}

function showOutcome(app: App, report: SendReport, rows: OutboxRow[]): void {
  const { screen } = app.view;
  const received = rows.find((row) => report.outcomes.some((each) => each.kind === "received" && each.envelope_id === row.envelope_id));
  // A phone that keeps no keys knows nobody after a restart; its last sealed form has just gone out.
  if (screen.name === "forms" && !app.view.people.length && received) return app.go({ name: "received", row: received });
  if (!("row" in screen)) return;
  const outcome = report.outcomes.find((each) => each.envelope_id === screen.row.envelope_id);
  if (outcome?.kind === "received") app.go({ name: "received", row: screen.row });
  if (outcome?.kind === "kept") app.go({ name: "refused", row: screen.row, trouble: outcome.trouble });
}

/** One try to send all that waits; `includeRefused` tries those again that the server refused before. */
export async function sendNow(app: App, includeRefused: boolean): Promise<void> {
  if (app.view.sending) return;
  app.cancelRetry();
  app.change({ sending: true });
  try {
    const onDisk = await app.tables.all("outbox");
    const inMemory = await app.memoryOutbox.all("outbox");
    const report = await sendOutbox(app.tables, app.context.post, includeRefused);
    const fromMemory = inMemory.length ? await sendOutbox(app.memoryOutbox, app.context.post, includeRefused) : { outcomes: [], later: null };
    await removeReceivedRows(app, fromMemory, inMemory);
    const later = report.later ?? fromMemory.later;
    await readDeviceStore(app);
    app.change({ sending: false, send_failure: later?.why ?? null });
    showOutcome(app, { outcomes: [...report.outcomes, ...fromMemory.outcomes], later }, [...onDisk, ...inMemory]);
    scheduleRetry(app, later);
  } catch {
    app.change({ sending: false });
    scheduleRetry(app, { after_ms: null });
  }
}

function scheduleRetry(app: App, later: { after_ms: number | null } | null): void {
  if (!later) {
    app.failedSends = 0;
    return;
  }
  const wait = Math.max(later.after_ms ?? 0, retryDelay(app.failedSends, app.context.random()));
  app.failedSends += 1;
  app.cancelRetry = app.context.setTimer(() => void sendNow(app, false), wait);
}

/** Finishing a form: seal it, store the envelope and drop the draft in one transaction, send, delete only on the right receipt. */
import { contactItems, warningAnswers } from "../form/flow";
import type { CannotSeal } from "../seal/seal";
import { findDraft, isFinished } from "../store/drafts";
import { newOutboxRow, putInOutbox, removeReceived } from "../store/outbox";
import { Conflict, type OutboxRow, underLink } from "../store/tables";
import { type Refused, retryDelay, sendOutbox, type SendReport } from "../sync/send";
import { checkWarningsRead, leaveForm, saveOpenDraft } from "./answering";
import type { App, OpenForm, Screen } from "./app";
import { askToKeep, offerAgain, readDeviceStore, wasReceived } from "./device";

async function seal(app: App, open: OpenForm): Promise<OutboxRow> {
  const { sealOpenForm } = await app.context.loadSeal();
  return newOutboxRow(await sealOpenForm(app, open), open.form.form_id, open.person.row, app.instant());
}

async function isOnDisk(app: App, row: OutboxRow): Promise<boolean> {
  if (app.context.deviceStore.persistence === "nothing") return false;
  const stored = await app.tables.get("outbox", row.envelope_id).catch(() => undefined);
  return stored?.text === row.text;
}

/**
 * True once the envelope was read back from the disk and the draft is gone; false when the disk refuses, and the envelope is in memory.
 * Throws Conflict when another tab was faster.
 */
async function storeEnvelope(app: App, row: OutboxRow, open: OpenForm): Promise<boolean> {
  try {
    await putInOutbox(row, open.draft, app.tables);
  } catch (fault) {
    // A connection lost after its commit is tried again and then finds its own work done.
    if (fault instanceof Conflict && !(await isOnDisk(app, row))) throw fault;
  }
  if (await isOnDisk(app, row)) return true;
  await app.inMemory.outbox.write([{ table: "outbox", put: row }]);
  return false;
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
    const newer = (fault as Partial<CannotSeal>).fault === "suite";
    return app.change({ busy: false, note: newer ? "seal_failed_newer" : "seal_failed" });
  }
  try {
    const onDisk = await storeEnvelope(app, row, open);
    showWaiting(app, onDisk ? { name: "saved", row } : { name: "unsaved", row, begun_kept: await isBegunKept(app, open) });
  } catch (fault) {
    if (!(fault instanceof Conflict)) throw fault;
    if (await isFinished(row.form_id, open.person.row, app.tables)) return leaveForm(app, "elsewhere");
    // The draft was changed by another window, or taken away by the browser, while it was being sealed.
    return finishForm(app);
  }
  await sendNow(app, false);
}

/** Whether the disk holds every answer of the form as a begun one. */
async function isBegunKept(app: App, { form, person, draft }: OpenForm): Promise<boolean> {
  const stored = await findDraft(form.form_id, person.row, app.tables).catch(() => null);
  return app.context.deviceStore.persistence === "all" && JSON.stringify(stored?.answers) === JSON.stringify(draft.answers);
}

/** The form leaves the page only together with the screen that follows it, and with its envelope among those that wait. */
function showWaiting(app: App, screen: Screen & { row: OutboxRow }): void {
  const { open } = app.view;
  if (open && warningAnswers(open).length) app.view.warned.push(open);
  if (open && contactItems(open.steps).some((key) => open.draft.answers[key])) app.contactAsked.add(screen.row.lookup);
  app.inMemory.drafts.delete(underLink(screen.row.lookup, screen.row.form_id));
  app.changeWithoutDrawing({ open: null, draft_status: "none", send_failure: null, outbox: [...app.view.outbox, screen.row] });
  app.go(screen);
}

const NOTHING_SENT: SendReport = { outcomes: [], later: null };

/** All that waits, on disk and in memory: a disk that does not answer keeps nothing back that the page has. */
async function sendAll(app: App, rows: OutboxRow[], includeRefused: Refused): Promise<SendReport> {
  const { post } = app.context;
  const onDisk = await sendOutbox(app.tables, post, includeRefused).catch(() => NOTHING_SENT);
  const inMemory = await sendOutbox(app.inMemory.outbox, post, includeRefused);
  for (const outcome of inMemory.outcomes) {
    const row = rows.find((each) => each.envelope_id === outcome.envelope_id);
    if (outcome.kind === "received" && row) await removeReceived(row, outcome.restored_at, app.tables).catch(() => undefined);
  }
  return { outcomes: [...onDisk.outcomes, ...inMemory.outcomes], later: onDisk.later ?? inMemory.later };
}

function noteReceipts(app: App, report: SendReport): void {
  for (const outcome of report.outcomes) {
    if (outcome.kind !== "received") continue;
    const { envelope_id, lookup, form_id } = outcome;
    const heard = app.view.people.find(({ row }) => row.lookup === lookup)?.row.restored_at;
    const restored_at = outcome.restored_at === undefined ? heard : outcome.restored_at;
    app.receivedEnvelopes.add(envelope_id);
    if (form_id) app.receipts.push({ lookup, form_id, restored_at });
  }
}

function showOutcome(app: App, report: SendReport, rows: OutboxRow[]): void {
  const { screen } = app.view;
  const received = rows.find((row) => report.outcomes.some((each) => each.kind === "received" && each.envelope_id === row.envelope_id));
  // A phone that keeps no keys knows nobody after a restart; its last sealed form has just gone out.
  if (screen.name === "forms" && !app.view.people.length && received) return app.go({ name: "received", row: received });
  if (!("row" in screen)) return;
  if (wasReceived(app, screen.row)) return app.go({ name: "received", row: screen.row });
  const outcome = report.outcomes.find((each) => each.envelope_id === screen.row.envelope_id);
  if (outcome?.kind === "kept") app.go({ name: "refused", row: screen.row, trouble: outcome.trouble });
}

/** One try to send all that waits; `includeRefused` tries those again that the server refused before. */
export async function sendNow(app: App, includeRefused: Refused): Promise<void> {
  if (app.view.sending) {
    app.sendAsked = true;
    return;
  }
  app.cancelRetry();
  app.sendAsked = false;
  app.change({ sending: true });
  await readDeviceStore(app);
  const rows = app.view.outbox;
  const report = await sendAll(app, rows, includeRefused);
  noteReceipts(app, report);
  await offerAgain(app);
  await readDeviceStore(app);
  app.change({ sending: false, send_failure: report.later?.why ?? null });
  showOutcome(app, report, rows);
  if (report.later && app.sendAsked) return sendNow(app, includeRefused);
  scheduleRetry(app, report.later);
}

function scheduleRetry(app: App, later: { after_ms: number | null } | null): void {
  if (!later) {
    app.failedSends = 0;
    return;
  }
  void askToKeep(app);
  const wait = Math.max(later.after_ms ?? 0, retryDelay(app.failedSends, app.context.random()));
  app.failedSends += 1;
  app.cancelRetry = app.context.setTimer(() => void sendNow(app, false), wait);
}

/** "Something here is wrong": a notice is sealed, kept in the outbox and sent as a form is, offline too. */
import type { Notice } from "../form/notice";
import { newOutboxRow } from "../store/outbox";
import type { Person } from "../store/people";
import type { OutboxRow } from "../store/tables";
import type { App } from "./app";
import { readDeviceStore } from "./device";
import { sendNow } from "./finishing";

async function sealNotice(app: App, notice: Notice, person: Person): Promise<OutboxRow> {
  const { sheet, row } = person;
  if (!sheet) throw new Error("no key to seal for");
  const { noticePayload, randomUuid, sealForm } = await app.context.loadSeal();
  const now = app.context.now();
  const context = {
    language: app.view.language,
    build: app.context.build,
    noticed_at: now.toISOString(),
    utc_offset_minutes: -now.getTimezoneOffset(),
    time_zone: app.context.time_zone,
    clock_skew_ms: row.clock_skew_ms,
  };
  const what = { payload: noticePayload(notice, sheet, context), to: sheet.public_key, answerKey: row.answer_key, lookup: row.lookup, envelopeId: randomUuid() };
  // Bound to no form, so that its receipt marks none as sent.
  return newOutboxRow(await sealForm(what), "", row, app.instant());
}

/** On disk; where that refuses, in this page's memory. The view is read anew, so that it says which. */
async function keep(app: App, row: OutboxRow): Promise<void> {
  const put = [{ table: "outbox" as const, put: row }];
  await app.tables.write(put).catch(() => app.inMemory.outbox.write(put));
  app.changeWithoutDrawing({ outbox: [...app.view.outbox, row] });
  await readDeviceStore(app);
}

/** Sent at once where there is network; the screen afterwards says what has happened to it. */
export async function tellClinic(app: App, notice: Notice, person: Person): Promise<void> {
  const { screen } = app.view;
  if (screen.name !== "notice" || app.view.busy) return;
  app.change({ busy: true, note: null });
  let row: OutboxRow;
  try {
    row = await sealNotice(app, notice, person);
  } catch {
    return app.change({ busy: false, note: "seal_failed" });
  }
  await keep(app, row);
  app.go({ name: "told", message: row, back: screen.back });
  await sendNow(app, false);
}

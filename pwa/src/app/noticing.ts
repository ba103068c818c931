/** "Something here is wrong": a notice is sealed, kept in the outbox and sent as a form is, offline too. */
import type { Notice } from "../form/notice";
import { newOutboxRow } from "../store/outbox";
import type { Person } from "../store/people";
import type { OutboxRow } from "../store/tables";
import type { App } from "./app";
import { readDeviceStore } from "./device";
import { sendNow } from "./finishing";

/** Bound to no form, so that its receipt marks none as sent. */
async function seal(app: App, notice: Notice, person: Person): Promise<OutboxRow> {
  const { sealNotice } = await app.context.loadSeal();
  const row = newOutboxRow(await sealNotice(app, notice, person), "", person.row, app.instant());
  return notice.kind === "died" || notice.kind === "stop" ? { ...row, kept: true } : row;
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
    row = await seal(app, notice, person);
  } catch {
    return app.change({ busy: false, note: "seal_failed" });
  }
  await keep(app, row);
  app.go({ name: "told", message: row, back: screen.back });
  await sendNow(app, false);
}

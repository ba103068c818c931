/** What makes an envelope of a finished form, a file of its own: it is loaded when a form is begun, or something is told to the clinic. */
import type { App, OpenForm } from "../app/app";
import { randomUuid } from "../bytes";
import type { Sheet } from "../form/due_sheet";
import { type Notice, noticePayload } from "../form/notice";
import { browserName, payloadOf } from "../form/payload";
import type { Person } from "../store/people";
import { type Envelope, sealForm } from "./seal";

interface Saying {
  language: string;
  build: string;
  utc_offset_minutes: number;
  time_zone: string | null;
  clock_skew_ms: number | null;
}

/** What is said of the phone and its clock, whatever is sent. */
function saying({ view, context }: App, person: Person, now: Date): Saying {
  const { build, time_zone } = context;
  return { language: view.language, build, utc_offset_minutes: -now.getTimezoneOffset(), time_zone, clock_skew_ms: person.row.clock_skew_ms };
}

function sealed(payload: string, { row }: Person, { public_key }: Sheet): Promise<Envelope> {
  return sealForm({ payload, to: public_key, answerKey: row.answer_key, lookup: row.lookup, envelopeId: randomUuid() });
}

/** The form goes on with the sheet under which it was opened. */
export async function sealOpenForm(app: App, { person, sheet, form, draft }: OpenForm): Promise<Envelope> {
  const now = app.context.now();
  const { screen, agent } = app.context;
  const context = {
    ...saying(app, person, now),
    opened_at: draft.opened_at,
    finished_at: now.toISOString(),
    answered_by: draft.answered_by ?? "patient",
    device: { screen, browser: browserName(agent) },
  };
  return sealed(payloadOf(form, sheet, draft.answers, context), person, sheet);
}

export async function sealNotice(app: App, notice: Notice, person: Person): Promise<Envelope> {
  const { sheet } = person;
  if (!sheet) throw new Error("no key to seal for");
  const now = app.context.now();
  return sealed(noticePayload(notice, sheet, { ...saying(app, person, now), noticed_at: now.toISOString() }), person, sheet);
}

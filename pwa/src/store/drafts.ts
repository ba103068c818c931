/** Half-finished forms, encrypted. */
import type { Answers } from "../form/due_sheet";
import type { Place } from "../form/flow";
import type { AnsweredBy } from "../form/payload";
import { decryptJson, encryptJson } from "./encrypt";
import { Conflict, type DraftRow, type PersonRow, type Tables, type WriteOp } from "./tables";

export interface Draft {
  form_id: string;
  opened_at: string;
  at: Place | null;
  answers: Answers;
  answered_by: AnsweredBy | null;
  /** The review page was reached: Next on an item goes back there. */
  reviewed: boolean;
  /** Items that another form of the same visit has asked for already. Drafts of earlier versions have none. */
  left_out?: string[];
  /** `seq` of the stored row this draft is based on; null before the first write. */
  seq: number | null;
}

type StoredDraft = Omit<Draft, "seq">;

const purpose = (formId: string): string => `yearmark draft ${formId}`;

export function newDraft(formId: string, now: string): Draft {
  return { form_id: formId, opened_at: now, at: null, answers: {}, answered_by: null, reviewed: false, seq: null };
}

async function decryptDraft(row: DraftRow, person: PersonRow): Promise<Draft> {
  return { ...(await decryptJson<StoredDraft>(person.draft_key, purpose(row.form_id), row.box)), seq: row.seq };
}

export async function findDraft(formId: string, person: PersonRow, tables: Tables): Promise<Draft | null> {
  const row = await tables.get("drafts", formId);
  return row ? decryptDraft(row, person).catch(() => null) : null;
}

/** Two tabs on one form: of each item the answer given last counts. */
export function mergeDrafts(mine: Draft, stored: Draft): Draft {
  const answers: Answers = { ...stored.answers };
  for (const [key, answer] of Object.entries(mine.answers)) {
    const other = answers[key];
    if (!other || other.last_at <= answer.last_at) answers[key] = answer;
  }
  const opened_at = mine.opened_at < stored.opened_at ? mine.opened_at : stored.opened_at;
  return { ...mine, answers, opened_at, seq: stored.seq };
}

/** Only a row that says so makes a form finished: its envelope, or the note that the clinic has it. A missing draft says nothing. */
export async function isFinished(formId: string, person: PersonRow, tables: Tables): Promise<boolean> {
  const waiting = await tables.all("outbox");
  const known = await tables.get("people", person.lookup);
  return waiting.some((row) => row.form_id === formId) || known?.sent.includes(formId) === true;
}

/** The browser has thrown the draft away, such as with the site's data: it is written again, with the keys that open it. */
async function saveAnew(draft: Draft, row: DraftRow, person: PersonRow, tables: Tables): Promise<Draft> {
  const ops: WriteOp[] = [{ table: "drafts", put: row, based_on: null }];
  if (!(await tables.get("people", person.lookup))) ops.push({ table: "people", put: person });
  await tables.write(ops);
  return { ...draft, seq: row.seq };
}

/** Resolves with the draft as stored, once it is on disk. Throws Conflict when another tab has finished the form. */
export async function saveDraft(draft: Draft, person: PersonRow, tables: Tables): Promise<Draft> {
  const { seq, ...content } = draft;
  const box = await encryptJson(person.draft_key, purpose(draft.form_id), content);
  const put = { form_id: draft.form_id, lookup: person.lookup, seq: (seq ?? 0) + 1, box };
  try {
    await tables.write([{ table: "drafts", put, based_on: seq }]);
    return { ...draft, seq: put.seq };
  } catch (fault) {
    if (!(fault instanceof Conflict)) throw fault;
    const stored = await tables.get("drafts", draft.form_id);
    if (stored) return saveDraft(mergeDrafts(draft, await decryptDraft(stored, person)), person, tables);
    if (await isFinished(draft.form_id, person, tables)) throw fault;
    return saveAnew(draft, put, person, tables);
  }
}

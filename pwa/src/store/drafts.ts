/** Half-finished forms, encrypted. */
import type { Answers } from "../form/due_sheet";
import type { Place } from "../form/flow";
import type { AnsweredBy } from "../form/payload";
import { decryptJson, encryptJson } from "./encrypt";
import { Conflict, type DraftRow, type PersonRow, type Tables, underLink, type WriteOp } from "./tables";

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
  /** Under which its row lies. */
  key: string;
}

type StoredDraft = Omit<Draft, "seq" | "key">;

const purpose = (formId: string): string => `yearmark draft ${formId}`;

export function newDraft(formId: string, lookup: string, now: string): Draft {
  return { form_id: formId, opened_at: now, at: null, answers: {}, answered_by: null, reviewed: false, seq: null, key: underLink(lookup, formId) };
}

/** The form of a row, under its link. */
export function nameOf({ form_id, lookup }: DraftRow): string {
  return form_id.includes(" ") ? form_id : underLink(lookup, form_id);
}

export async function findDraftRow(formId: string, lookup: string, tables: Tables): Promise<DraftRow | undefined> {
  const ofBefore = async (): Promise<DraftRow | undefined> => {
    const row = await tables.get("drafts", formId);
    return row?.lookup === lookup ? row : undefined;
  };
  return (await tables.get("drafts", underLink(lookup, formId))) ?? ofBefore();
}

async function decryptDraft(row: DraftRow, formId: string, person: PersonRow): Promise<Draft> {
  return { ...(await decryptJson<StoredDraft>(person.draft_key, purpose(formId), row.box)), seq: row.seq, key: row.form_id };
}

export async function findDraft(formId: string, person: PersonRow, tables: Tables): Promise<Draft | null> {
  const row = await findDraftRow(formId, person.lookup, tables);
  return row ? decryptDraft(row, formId, person).catch(() => null) : null;
}

/** Two tabs on one form: of each item the answer given last counts. */
export function mergeDrafts(mine: Draft, stored: Draft): Draft {
  const answers: Answers = { ...stored.answers };
  for (const [key, answer] of Object.entries(mine.answers)) {
    const other = answers[key];
    if (!other || other.last_at <= answer.last_at) answers[key] = answer;
  }
  const opened_at = mine.opened_at < stored.opened_at ? mine.opened_at : stored.opened_at;
  return { ...mine, answers, opened_at, seq: stored.seq, key: stored.key };
}

/** Only a row that says so makes a form finished: its envelope, or the note that the clinic has it. A missing draft says nothing. */
export async function isFinished(formId: string, person: PersonRow, tables: Tables): Promise<boolean> {
  const waiting = await tables.all("outbox");
  const known = await tables.get("people", person.lookup);
  return waiting.some((row) => row.form_id === formId && row.lookup === person.lookup) || known?.sent.includes(formId) === true;
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
  const { seq, key, ...content } = draft;
  const box = await encryptJson(person.draft_key, purpose(draft.form_id), content);
  const put = { form_id: key, lookup: person.lookup, seq: (seq ?? 0) + 1, box };
  try {
    await tables.write([{ table: "drafts", put, based_on: seq }]);
    return { ...draft, seq: put.seq };
  } catch (fault) {
    if (!(fault instanceof Conflict)) throw fault;
    const stored = await findDraftRow(draft.form_id, person.lookup, tables);
    if (stored) return saveDraft(mergeDrafts(draft, await decryptDraft(stored, draft.form_id, person)), person, tables);
    if (await isFinished(draft.form_id, person, tables)) throw fault;
    return saveAnew(draft, put, person, tables);
  }
}

/** Half-finished forms, encrypted. */
import type { Answers } from "../form/due_sheet";
import type { Place } from "../form/flow";
import type { AnsweredBy } from "../form/payload";
import { decryptJson, encryptJson } from "./encrypt";
import { Conflict, type DraftRow, type PersonRow, type Tables } from "./tables";

export interface Draft {
  form_id: string;
  opened_at: string;
  at: Place | null;
  answers: Answers;
  answered_by: AnsweredBy | null;
  /** The review page was reached: Next on an item goes back there. */
  reviewed: boolean;
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
    const stored = await findDraft(draft.form_id, person, tables);
    if (!stored || stored.seq === seq) throw fault;
    return saveDraft(mergeDrafts(draft, stored), person, tables);
  }
}

/** Whose links this phone knows. Names and forms lie encrypted; the keys cannot be read out. */
import { fromB64u } from "../bytes";
import type { Form, Sheet } from "../form/due_sheet";
import type { LinkKeys } from "../link/derive";
import { keepBegunForms, openSheetBytes, readSheet, type SealedSheet } from "../link/open_sheet";
import { decryptJson, encryptJson, newStorageKey } from "./encrypt";
import { nameOf } from "./drafts";
import { type LinkState, type OutboxRow, type PersonRow, type RestoredAt, type Tables, underLink } from "./tables";

export interface Person {
  row: PersonRow;
  sheet: Sheet | null;
}

const purpose = (lookup: string): string => `yearmark sheet ${lookup}`;

export async function listPeople(tables: Tables): Promise<Person[]> {
  const people: Person[] = [];
  for (const row of await tables.all("people")) {
    try {
      people.push({ row, sheet: row.sheet && (await decryptJson<Sheet>(row.draft_key, purpose(row.lookup), row.sheet)) });
    } catch {
      // The key or the sheet was damaged: the link opens again with the birth date; drafts and outbox stay.
    }
  }
  return people;
}

export interface FetchedSheet {
  state: LinkState;
  sheet: SealedSheet | null;
  clock_skew_ms: number | null;
  restored_at: RestoredAt;
}

/** The row of a person whose proof was right: with a new draft key, or the one of when the link was opened here before. */
export async function provenPersonRow(keys: LinkKeys, tables: Tables): Promise<PersonRow> {
  const known = await tables.get("people", keys.lookup).catch(() => undefined);
  const fresh = { state: "due" as const, sheet: null, sent: [], clock_skew_ms: null, language: null };
  return { ...(known ?? { ...fresh, draft_key: await newStorageKey() }), ...keys };
}

/** The restore that is named, or was named last: a missing name says nothing. */
const named = (restored_at: RestoredAt, row: PersonRow): RestoredAt => (restored_at === undefined ? row.restored_at : restored_at);

const except = (id: string, list: string[] = []): string[] => list.filter((each) => each !== id);

/** The row once the clinic has given a receipt for the form. */
export function withReceipt(row: PersonRow, id: string, restored_at: RestoredAt): PersonRow {
  const { [id]: _before, ...others } = row.sent_with ?? {};
  const since = named(restored_at, row);
  return { ...row, sent: [...new Set([...row.sent, id])], lost: except(id, row.lost), sent_with: since ? { ...others, [id]: since } : others };
}

/** The row once the clinic has given a receipt for a notice that is kept. */
export function withNotice(person: PersonRow, row: OutboxRow, restored_at: RestoredAt): PersonRow {
  const others = (person.notices ?? []).filter((each) => each.row.envelope_id !== row.envelope_id);
  return { ...person, notices: [...others, { row: { ...row, trouble: null }, restored_at: named(restored_at, person) ?? null }] };
}

/** The notices that the clinic may have lost, to be sent as they were: one that it still has is a duplicate to it. */
export function lostNotices(person: PersonRow, restored_at: RestoredAt): OutboxRow[] {
  return (person.notices ?? []).filter((each) => restored_at !== undefined && each.restored_at !== restored_at).map((each) => each.row);
}

/** Once they wait to be sent, which is written together with this. */
function withNoticesWaiting({ notices }: PersonRow, restored_at: RestoredAt): Pick<PersonRow, "notices"> {
  if (!notices) return {};
  return { notices: restored_at === undefined ? notices : notices.map(({ row }) => ({ row, restored_at })) };
}

type Receipts = Pick<PersonRow, "restored_at" | "sent" | "lost">;

/**
 * What of the receipts stands once a sheet has come. One that came with another restore promises nothing any more: its form is lost where the
 * sheet lists it; where not, the copy had it, or it came in by another way. `anew`: those whose answers the clinic settled without using them.
 */
function standingReceipts(row: PersonRow, restored_at: RestoredAt, fresh: Sheet | null, anew: string[]): Receipts {
  const now = named(restored_at, row);
  const stands = (id: string): boolean => restored_at === undefined || (row.sent_with?.[id] ?? null) === now;
  const isListed = (id: string): boolean => fresh?.forms.some((form) => form.form_id === id) === true && !anew.includes(id);
  const doubted = [...(row.lost ?? []), ...row.sent.filter((id) => !stands(id))];
  return { restored_at: now, sent: row.sent.filter((id) => stands(id) && !anew.includes(id)), lost: doubted.filter(isListed) };
}

/**
 * The forms that the clinic held, holds no longer and still asks for: somebody there has settled the answers without using them, so they are
 * wanted once more. What was held is known by the sheet that this phone kept.
 */
function askedAnew(fresh: Sheet | null, before: Sheet | null | undefined): string[] {
  const left = (before?.held ?? []).filter((id) => !fresh?.held?.includes(id));
  return left.filter((id) => fresh?.forms.some((form) => form.form_id === id && !form.gone));
}

/**
 * The person with what the server sent, not yet stored. Forms that were begun on this phone (`begun`, or with a draft on disk) stay,
 * whatever the clinic asks for now. `latest`: reads the row with all receipts up to now; last, as one may come meanwhile. Throws BadSheet
 * when the sheet does not open.
 */
export async function withFetchedSheet(row: PersonRow, latest: () => Promise<PersonRow>, fetched: FetchedSheet, begun: ReadonlySet<string>, tables: Tables): Promise<Person> {
  const fresh = fetched.sheet && readSheet(await openSheetBytes(fetched.sheet, row.due_key, fromB64u(row.lookup)));
  const before = row.sheet ? await decryptJson<Sheet>(row.draft_key, purpose(row.lookup), row.sheet).catch(() => null) : null;
  const drafts = new Set([...begun, ...(await tables.all("drafts").catch(() => [])).map(nameOf)]);
  const isBegun = (id: string): boolean => drafts.has(underLink(row.lookup, id));
  const sheet = keepBegunForms(fresh, before, new Set(before?.forms.map((form) => form.form_id).filter(isBegun)));
  const sealed = sheet && (await encryptJson(row.draft_key, purpose(row.lookup), sheet));
  const known = await latest();
  // What a restore has lost is no longer held either, but nobody settled it. Rows of earlier versions name no restore.
  const sameRecords = (named(fetched.restored_at, known) ?? null) === (known.restored_at ?? null);
  const next: PersonRow = {
    ...row,
    ...standingReceipts(known, fetched.restored_at, fresh, sameRecords ? askedAnew(fresh, before) : []),
    sent_with: known.sent_with ?? {},
    ...withNoticesWaiting(known, fetched.restored_at),
    rejected: 0,
    language: known.language,
    state: fetched.state,
    clock_skew_ms: fetched.clock_skew_ms,
    sheet: sealed,
  };
  return { row: next, sheet };
}

function withInstrumentsOf(forms: Form[], sheet: Sheet): Sheet {
  const used = new Set(forms.flatMap((form) => form.parts.map((part) => part.instrument)));
  const kept = <T>(all: Record<string, T>): Record<string, T> => Object.fromEntries(Object.entries(all).filter(([name]) => used.has(name)));
  return { ...sheet, forms, instruments: kept(sheet.instruments), texts: kept(sheet.texts) };
}

/**
 * The person once the clinic has a form: its questions leave the phone. What stays is what opens the link again (keys, proof, first name
 * and language, the clinic's numbers) and what other forms need.
 */
export async function withoutForm(row: PersonRow, formId: string): Promise<PersonRow> {
  const sheet = row.sheet && (await decryptJson<Sheet>(row.draft_key, purpose(row.lookup), row.sheet).catch(() => null));
  if (!sheet) return row;
  const forms = sheet.forms.filter((form) => form.form_id !== formId);
  return { ...row, sheet: await encryptJson(row.draft_key, purpose(row.lookup), withInstrumentsOf(forms, sheet)) };
}

/** With sealed notices that are to be sent once more, all or nothing. */
export async function savePerson(person: Person, tables: Tables, again: OutboxRow[] = []): Promise<void> {
  await tables.write([{ table: "people", put: person.row }, ...again.map((row) => ({ table: "outbox" as const, put: row }))]);
}

/** A disk that refuses costs only the language at the next opening. */
export async function keepLanguage(row: PersonRow, language: string, tables: Tables): Promise<void> {
  try {
    const stored = await tables.get("people", row.lookup);
    if (stored) await tables.write([{ table: "people", put: { ...stored, language } }]);
  } catch {
    return;
  }
}

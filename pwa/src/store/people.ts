/** Whose links this phone knows. Names and forms lie encrypted; the keys cannot be read out. */
import { fromB64u } from "../bytes";
import type { Sheet } from "../form/due_sheet";
import type { LinkKeys } from "../link/derive";
import { keepBegunForms, openSheetBytes, readSheet, type SealedSheet } from "../link/open_sheet";
import { decryptJson, encryptJson, newStorageKey } from "./encrypt";
import type { LinkState, PersonRow, Tables } from "./tables";

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
}

/** The row of a person whose proof was right: with a new draft key, or the one of when the link was opened here before. */
export async function provenPersonRow(keys: LinkKeys, tables: Tables): Promise<PersonRow> {
  const known = await tables.get("people", keys.lookup);
  const fresh = { state: "due" as const, sheet: null, sent: [], clock_skew_ms: null, language: null };
  return { ...(known ?? { ...fresh, draft_key: await newStorageKey() }), ...keys };
}

/**
 * Stores what the server sent. Forms that were begun on this phone stay, whatever the clinic asks for now.
 * Throws BadSheet when the sheet does not open; then nothing is changed.
 */
export async function storeFetchedSheet(row: PersonRow, fetched: FetchedSheet, tables: Tables): Promise<Person> {
  const fresh = fetched.sheet && readSheet(await openSheetBytes(fetched.sheet, row.due_key, fromB64u(row.lookup)));
  const before = row.sheet ? await decryptJson<Sheet>(row.draft_key, purpose(row.lookup), row.sheet).catch(() => null) : null;
  const drafts = await tables.all("drafts");
  const begun = new Set(drafts.filter((draft) => draft.lookup === row.lookup).map((draft) => draft.form_id));
  const sheet = keepBegunForms(fresh, before, begun);
  const stored = (await tables.get("people", row.lookup)) ?? row;
  const next: PersonRow = {
    ...row,
    sent: stored.sent,
    language: stored.language,
    state: fetched.state,
    clock_skew_ms: fetched.clock_skew_ms,
    sheet: sheet && (await encryptJson(row.draft_key, purpose(row.lookup), sheet)),
  };
  await tables.write([{ table: "people", put: next }]);
  return { row: next, sheet };
}

export async function keepLanguage(row: PersonRow, language: string, tables: Tables): Promise<void> {
  const stored = await tables.get("people", row.lookup);
  if (stored) await tables.write([{ table: "people", put: { ...stored, language } }]);
}

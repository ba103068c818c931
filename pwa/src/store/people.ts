/** Whose links this phone knows. Names and forms lie encrypted; the keys cannot be read out. */
import { fromB64u } from "../bytes";
import type { Sheet } from "../form/items";
import type { LinkKeys } from "../link/derive";
import { keepBegun, openSheetBytes, readSheet, type SealedSheet } from "../link/sheet";
import { close, newBoxKey, open } from "./box";
import type { LinkState, PersonRow, Tables } from "./tables";

export interface Person {
  row: PersonRow;
  sheet: Sheet | null;
  /** This build is too old for the clinic's latest sheet. */
  newer?: boolean;
}

const purpose = (lookup: string): string => `yearmark sheet ${lookup}`;

export async function listPeople(tables: Tables): Promise<Person[]> {
  const people: Person[] = [];
  for (const row of await tables.all("people")) {
    try {
      people.push({ row, sheet: row.sheet && (await open<Sheet>(row.draft_key, purpose(row.lookup), row.sheet)) });
    } catch {
      // The key or the box was damaged: the link opens again with the birth date; drafts and outbox stay.
    }
  }
  return people;
}

export interface Fetched {
  state: LinkState;
  sheet: SealedSheet | null;
  clock_skew_ms: number | null;
}

/** A person just proven: new keys for this phone, or those it has if the link was opened here before. */
export async function personFor(keys: LinkKeys, tables: Tables): Promise<PersonRow> {
  const known = await tables.get("people", keys.lookup);
  const fresh = { state: "due" as const, sheet: null, sent: [], clock_skew_ms: null, language: null };
  return { ...(known ?? { ...fresh, draft_key: await newBoxKey() }), ...keys };
}

/**
 * Takes in what the server said and keeps it. Forms begun here stay, whatever the clinic asks for now.
 * Throws BadSheet when the sheet does not open; then nothing is changed.
 */
export async function takeIn(row: PersonRow, fetched: Fetched, tables: Tables): Promise<Person> {
  const fresh = fetched.sheet && readSheet(await openSheetBytes(fetched.sheet, row.due_key, fromB64u(row.lookup)));
  const before = row.sheet ? await open<Sheet>(row.draft_key, purpose(row.lookup), row.sheet).catch(() => null) : null;
  const drafts = await tables.all("drafts");
  const begun = new Set(drafts.filter((draft) => draft.lookup === row.lookup).map((draft) => draft.form_id));
  const sheet = keepBegun(fresh, before, begun);
  const stored = (await tables.get("people", row.lookup)) ?? row;
  const next: PersonRow = {
    ...row,
    sent: stored.sent,
    language: stored.language,
    state: fetched.state,
    clock_skew_ms: fetched.clock_skew_ms,
    sheet: sheet && (await close(row.draft_key, purpose(row.lookup), sheet)),
  };
  await tables.write([{ table: "people", put: next }]);
  return { row: next, sheet };
}

export async function keepLanguage(row: PersonRow, language: string, tables: Tables): Promise<void> {
  const stored = await tables.get("people", row.lookup);
  if (stored) await tables.write([{ table: "people", put: { ...stored, language } }]);
}

/** What this phone keeps and what only this page has, read as one. Nothing here throws because a disk refuses. */
import { nameOf } from "../store/drafts";
import { type FetchedSheet, listPeople, lostNotices, type Person, savePerson, withFetchedSheet, withReceipt } from "../store/people";
import type { OutboxRow, PersonRow } from "../store/tables";
import type { App, View } from "./app";
import { loadLate } from "./reading";

/** With the receipts that only this page has, since the disk refused to note them. */
function withPageReceipts(app: App, row: PersonRow): PersonRow {
  const received = app.receipts.filter((each) => each.lookup === row.lookup && !row.sent.includes(each.form_id));
  return received.reduce((before, { form_id, restored_at }) => withReceipt(before, form_id, restored_at), row);
}

/**
 * A form is received when the phone has noted it, or when this page has the receipt. The disk then holds nothing of it any more; for as long
 * as the page is open, its list still says so.
 */
function withReceipts(app: App, { row: noted, sheet }: Person): Person {
  const row = withPageReceipts(app, noted);
  const shown = app.view.people.find((each) => each.row.lookup === row.lookup)?.sheet?.forms ?? [];
  const asked = new Set((sheet?.forms ?? []).map((form) => form.form_id));
  const gone = shown.filter(({ form_id }) => row.sent.includes(form_id) && !asked.has(form_id));
  return { row, sheet: sheet && { ...sheet, forms: [...gone, ...sheet.forms] } };
}

async function readPeople(app: App): Promise<Person[]> {
  const { people } = app.inMemory;
  const onDisk = await listPeople(app.tables).catch(() => app.view.people);
  const others = onDisk.filter((person) => !people.has(person.row.lookup) && !app.forgotten.has(person.row.lookup));
  return [...others, ...people.values()].map((person) => withReceipts(app, person));
}

async function readBegun(app: App): Promise<Set<string>> {
  const onDisk = await app.tables.all("drafts").then((rows) => rows.map(nameOf), () => [...app.view.begun]);
  return new Set([...onDisk, ...app.inMemory.drafts.keys()]);
}

/** By this page, by another window, or by the worker while no page was looking. */
export function wasReceived(app: App, row: OutboxRow, people = app.view.people): boolean {
  const noted = people.find((person) => person.row.lookup === row.lookup)?.row.sent.includes(row.form_id);
  return noted === true || app.receivedEnvelopes.has(row.envelope_id);
}

/** What the page knows to wait, and the envelope that its screen speaks of, should a reading that began before it was kept have missed it. */
function rowsOnPage({ outbox, screen }: View): OutboxRow[] {
  const { row, message } = screen as { row?: OutboxRow; message?: OutboxRow };
  const shown = row ?? message;
  return shown ? [...outbox, shown] : outbox;
}

/**
 * Every sealed form that waits. One that the page knows and the disk no longer has, without a receipt for it, is kept in memory
 * and sent from there: a form that is sent twice is recorded once.
 */
async function readOutbox(app: App, people: Person[]): Promise<{ outbox: OutboxRow[]; in_memory: Set<string> }> {
  const { outbox: memory } = app.inMemory;
  const onDisk = (await app.tables.all("outbox").catch(() => [])).filter((row) => !app.receivedEnvelopes.has(row.envelope_id));
  const there = new Set(onDisk.map((row) => row.envelope_id));
  for (const row of rowsOnPage(app.view)) {
    if (!there.has(row.envelope_id) && !app.forgotten.has(row.lookup) && !wasReceived(app, row, people)) await memory.write([{ table: "outbox", put: row }]);
  }
  const onlyHere: OutboxRow[] = [];
  for (const row of await memory.all("outbox")) {
    if (there.has(row.envelope_id)) await memory.write([{ table: "outbox", remove: row.envelope_id }]);
    else onlyHere.push(row);
  }
  const outbox = [...onDisk, ...onlyHere];
  const unkept = app.context.deviceStore.persistence === "nothing" ? outbox : onlyHere;
  return { outbox, in_memory: new Set(unkept.map((row) => row.envelope_id)) };
}

/** The screen of a form that waits says `saved` only while its envelope is on disk. */
function showWhereItIs(app: App): void {
  const { screen, outbox, in_memory } = app.view;
  if (screen.name !== "saved" && screen.name !== "unsaved") return;
  const { row } = screen;
  if (!outbox.some((each) => each.envelope_id === row.envelope_id)) return;
  if (!in_memory.has(row.envelope_id)) app.change({ screen: { name: "saved", row } });
  else if (screen.name === "saved") app.change({ screen: { name: "unsaved", row, begun_kept: false } });
}

/** Reads what is known into the view. A disk that does not answer takes nothing away that the page knows. */
export async function readDeviceStore(app: App): Promise<void> {
  const people = await readPeople(app);
  const begun = await readBegun(app);
  if (!app.privacy && people.some(({ row }) => row.lost?.length)) loadLate(app).then(() => app.change({}), () => undefined);
  app.change({ people, begun, ...(await readOutbox(app, people)) });
  showWhereItIs(app);
}

/** Whether answers lie only in this page: a full disk has refused them, or the phone keeps none. */
export function losesOnReload(app: App): boolean {
  const { open, begun, in_memory } = app.view;
  const drafts = app.context.deviceStore.persistence === "all" ? app.inMemory.drafts : begun;
  return in_memory.size + drafts.size > 0 || (open !== null && drafts === begun);
}

/** The row as it is now: a receipt may have been noted since it was read. */
async function knownRow(app: App, row: PersonRow): Promise<PersonRow> {
  return app.inMemory.people.get(row.lookup)?.row ?? (await app.tables.get("people", row.lookup).catch(() => undefined)) ?? row;
}

async function savePersonOf(app: App, person: Person, again: OutboxRow[] = []): Promise<void> {
  const { lookup } = person.row;
  if (app.forgotten.has(lookup)) return;
  try {
    await savePerson(person, app.tables, again);
    app.inMemory.people.delete(lookup);
  } catch {
    app.inMemory.people.set(lookup, person);
    await app.inMemory.outbox.write(again.map((row) => ({ table: "outbox", put: row })));
  }
}

/** Keeps a person with the sheet that was fetched; in this page alone where the disk refuses. Throws BadSheet. */
export async function keepPerson(app: App, row: PersonRow, fetched: FetchedSheet): Promise<Person> {
  let known = row;
  let judged = app.receipts;
  const latest = async (): Promise<PersonRow> => {
    known = withPageReceipts(app, await knownRow(app, row));
    judged = [...app.receipts];
    return known;
  };
  const person = await withFetchedSheet(row, latest, fetched, app.view.begun, app.tables);
  const lost = lostNotices(known, fetched.restored_at);
  // This very proof was refused before, such as while the link was locked.
  const refused = app.view.outbox.filter((each) => each.proof === row.proof && each.trouble === "check");
  app.receipts = app.receipts.filter((each) => each.lookup !== row.lookup || person.row.sent.includes(each.form_id) || !judged.includes(each));
  for (const { envelope_id } of lost) app.receivedEnvelopes.delete(envelope_id);
  await savePersonOf(app, person, [...lost, ...refused.map((each) => ({ ...each, trouble: null }))]);
  return withReceipts(app, person);
}

/**
 * The clinic does not accept this proof: the phone tries it by itself once a day, as the link may be unlocked. Five wrong tries lock a patient out.
 * The birth date may have been entered anew while the answer was on its way; that proof is another.
 */
export async function keepRejected(app: App, { row, sheet }: Person): Promise<void> {
  const known = await knownRow(app, row);
  if (known.proof === row.proof) await savePersonOf(app, { row: { ...known, rejected: +app.context.now() }, sheet });
  await readDeviceStore(app);
}

/** Before something is left behind on this phone. */
export async function askToKeep(app: App): Promise<void> {
  app.change({ sends_alone: await app.context.askToKeep() });
}

/** Offers the disk again what it refused, such as after room was made on it. */
export async function offerAgain(app: App): Promise<void> {
  for (const person of app.inMemory.people.values()) {
    const saved = await savePerson(person, app.tables).then(() => true, () => false);
    if (saved) app.inMemory.people.delete(person.row.lookup);
  }
  for (const row of await app.inMemory.outbox.all("outbox")) {
    await app.tables.write([{ table: "outbox", put: row }]).catch(() => undefined);
  }
}

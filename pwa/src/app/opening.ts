/** Opening: from a link to the list of forms. */
import type { Form } from "../form/due_sheet";
import { deriveKeys, deriveLookup, type LinkKeys } from "../link/derive";
import { BadSheet } from "../link/open_sheet";
import { BadToken, codeFromAddress, groupsOf, normalizeCode, readToken, type TokenFault } from "../link/token";
import { keepLanguage, listPeople, type Person, provenPersonRow, storeFetchedSheet } from "../store/people";
import type { PersonRow } from "../store/tables";
import { fetchDueSheet } from "../sync/due";
import type { App, Screen } from "./app";

/** Reads what this phone keeps into the view. */
export async function readDeviceStore(app: App): Promise<void> {
  const [people, drafts, onDisk, inMemory] = await Promise.all([
    listPeople(app.tables),
    app.tables.all("drafts"),
    app.tables.all("outbox"),
    app.memoryOutbox.all("outbox"),
  ]);
  app.change({ people, begun: new Set(drafts.map((draft) => draft.form_id)), outbox: [...onDisk, ...inMemory] });
}

/** The page has just been loaded, or another link was tapped while it was open. */
export async function showFirstScreen(app: App, fragment: string): Promise<void> {
  if (!globalThis.crypto?.subtle) return app.go({ name: "insecure" });
  if (fragment) return openAddress(app, fragment);
  await app.storageRead;
  const language = app.view.people[0]?.row.language ?? app.view.people[0]?.sheet?.patient.language;
  if (language && !app.view.language_chosen) await app.setLanguage(language);
  const known = app.view.people.length > 0 || app.view.outbox.length > 0;
  app.go({ name: known ? "forms" : "nolink" });
}

/** A code typed by hand, or of the address. Null when it is right; else what is wrong with it, and the screen stays as it is. */
export function enterCode(app: App, text: string): TokenFault | null {
  try {
    app.token = readToken(codeFromAddress(text));
    app.typedCode = "";
    app.cautionsShown = true;
    app.change({ open: null, note: null, screen: { name: "start" } });
    return null;
  } catch (fault) {
    if (!(fault instanceof BadToken)) throw fault;
    return fault.fault;
  }
}

/** A code of the address; a wrong one can be put right by hand. */
function openAddress(app: App, fragment: string): void {
  const fault = enterCode(app, fragment);
  if (!fault) return;
  app.typedCode = groupsOf(normalizeCode(codeFromAddress(fragment))).join(" ");
  app.change({ open: null, screen: { name: "mistyped", fault } });
}

/** After so many wrong birth dates the clinic locks a link. */
export const MOST_TRIES = 5;

/** The tap on Begin. A link that was opened on this phone before needs no birth date again. */
export async function begin(app: App): Promise<void> {
  if (!app.token) return app.go({ name: "nolink" });
  await app.storageRead;
  const lookup = await deriveLookup(app.token);
  const known = app.view.people.find((person) => person.row.lookup === lookup);
  const tries = app.context.tries.of(lookup);
  if (!known) return app.go(tries >= MOST_TRIES ? { name: "check", tries } : { name: "birth" });
  app.change({ people: [known, ...app.view.people.filter((person) => person !== known)] });
  await applyLanguage(app, known);
  app.go({ name: "forms" });
  await refreshSheets(app);
}

export async function openWithBirthDate(app: App, born: string): Promise<void> {
  if (!app.token) return app.go({ name: "nolink" });
  app.change({ busy: true });
  await prove(app, await deriveKeys(app.token, born));
}

export async function tryAgain(app: App): Promise<void> {
  if (!app.pendingKeys) return app.go({ name: app.token ? "birth" : "nolink" });
  app.change({ busy: true });
  await prove(app, app.pendingKeys);
}

async function prove(app: App, keys: LinkKeys): Promise<void> {
  app.pendingKeys = keys;
  const reply = await fetchDueSheet(keys, app.context.post, () => app.context.now().getTime());
  if (reply.kind === "check") {
    app.pendingKeys = null;
    const tries = app.context.tries.of(keys.lookup) + 1;
    app.context.tries.note(keys.lookup, tries);
    return app.go({ name: "check", tries });
  }
  if (reply.kind === "later") return app.go({ name: "offline", why: reply.why });
  try {
    const person = await storeFetchedSheet(await provenPersonRow(keys, app.tables), reply.fetched, app.tables);
    app.token = null;
    app.pendingKeys = null;
    app.context.tries.note(keys.lookup, 0);
    await showFormsOf(app, person);
  } catch (fault) {
    if (!(fault instanceof BadSheet)) throw fault;
    app.go({ name: "offline", why: fault.fault === "newer" ? "newer" : "server" });
  }
}

async function applyLanguage(app: App, person: Person): Promise<void> {
  const { language_chosen, language } = app.view;
  const preferred = person.row.language ?? person.sheet?.patient.language;
  if (language_chosen) await keepLanguage(person.row, language, app.tables);
  else if (preferred) await app.setLanguage(preferred);
}

async function showFormsOf(app: App, person: Person): Promise<void> {
  await applyLanguage(app, person);
  const screen = endScreen(person);
  await forgetEndedLink(app, person);
  await readDeviceStore(app);
  const first = app.view.people.find((each) => each.row.lookup === person.row.lookup);
  const others = app.view.people.filter((each) => each !== first);
  const rejected_proofs = new Set([...app.view.rejected_proofs].filter((lookup) => lookup !== person.row.lookup));
  app.change({ people: first ? [first, ...others] : others, rejected_proofs });
  app.go(screen ?? { name: "forms" });
}

/** Forms still to be answered or sent; those received are not offered again. */
function openForms(person: Person): Form[] {
  return (person.sheet?.forms ?? []).filter((form) => !person.row.sent.includes(form.form_id));
}

/** The screen for a link under which nothing is left to do here; null otherwise. */
function endScreen(person: Person): Screen | null {
  if (person.sheet && openForms(person).length) return null;
  const name = person.row.state === "due" ? "nothing_due" : person.row.state;
  return { name: name === "nothing_due" ? "nothing" : name, first_name: person.sheet?.patient.first_name ?? "" };
}

/** A link that has ended leaves the phone, unless a draft or an unsent envelope still belongs to it. */
async function forgetEndedLink(app: App, person: Person): Promise<void> {
  if (person.row.state !== "ended" && person.row.state !== "replaced") return;
  const { lookup } = person.row;
  const rows = [...(await app.tables.all("drafts")), ...(await app.tables.all("outbox"))];
  if (rows.every((row) => row.lookup !== lookup)) await app.tables.write([{ table: "people", remove: lookup }]);
}

async function refreshSheet(app: App, row: PersonRow): Promise<void> {
  const reply = await fetchDueSheet(row, app.context.post, () => app.context.now().getTime());
  if (reply.kind === "check") app.change({ rejected_proofs: new Set([...app.view.rejected_proofs, row.lookup]) });
  app.change({ refresh_failure: reply.kind === "later" ? reply.why : null });
  if (reply.kind !== "due") return;
  try {
    const person = await storeFetchedSheet(row, reply.fetched, app.tables);
    await forgetEndedLink(app, person);
    const end = endScreen(person);
    const onlyThisPerson = app.view.people.length === 1 && !app.view.outbox.length;
    await readDeviceStore(app);
    if (end && onlyThisPerson && app.view.screen.name === "forms") app.go(end);
  } catch (fault) {
    if (!(fault instanceof BadSheet)) throw fault;
    app.change({ note: fault.fault === "newer" ? "newer" : null });
  }
}

/** Asks again for everybody's forms. A form that is open goes on with the sheet it was opened with. */
export async function refreshSheets(app: App): Promise<void> {
  for (const person of app.view.people) await refreshSheet(app, person.row);
  if (app.view.rejected_proofs.size === 0) app.token = null;
}

export async function switchLanguage(app: App, language: string): Promise<void> {
  app.change({ language_chosen: true });
  await app.setLanguage(language);
  for (const person of app.view.people) await keepLanguage(person.row, language, app.tables);
}

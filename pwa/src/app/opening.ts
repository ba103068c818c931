/** Opening: from a link to the list of forms. */
import type { Form } from "../form/due_sheet";
import { deriveKeys, deriveLookup, type LinkKeys } from "../link/derive";
import { BadSheet } from "../link/open_sheet";
import { BadToken, codeFromAddress, groupsOf, normalizeCode, readToken, type TokenFault } from "../link/token";
import { type Person, provenPersonRow } from "../store/people";
import { fetchDueSheet } from "../sync/due";
import type { PostFailure } from "../sync/http";
import { retryDelay } from "../sync/send";
import { saveOpenDraft } from "./answering";
import type { App, Screen } from "./app";
import { keepPerson, keepRejected, readDeviceStore } from "./device";
import { sendNow } from "./finishing";
import { currentPerson, distinctPeople, enter, isBirthDateOf } from "./people";

/** The page has just been loaded, or another link was tapped while it was open. */
export async function showFirstScreen(app: App, fragment: string): Promise<void> {
  if (!globalThis.crypto?.subtle) return app.go({ name: "insecure" });
  if (fragment) {
    await saveOpenDraft(app);
    return openAddress(app, fragment);
  }
  await app.storageRead;
  const { people, outbox } = app.view;
  if (distinctPeople(people).length > 1) return app.go({ name: "people" });
  if (people[0]) await enter(app, people[0]);
  app.go({ name: people.length || outbox.length ? "forms" : "nolink" });
}

/** The first screen of the link that was tapped last: another one may come in while the storage is still being read. */
export async function showLatest(app: App, fragment: () => string): Promise<void> {
  let shown: string;
  do {
    shown = fragment();
    await showFirstScreen(app, shown);
  } while (shown !== fragment());
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

/** The tap on Begin. A link that was opened on this phone before needs no birth date again, unless others use the phone too. */
export async function begin(app: App): Promise<void> {
  if (!app.token) return app.go({ name: "nolink" });
  await app.storageRead;
  const lookup = await deriveLookup(app.token);
  const known = app.view.people.find((person) => person.row.lookup === lookup);
  const tries = app.context.tries.of(lookup);
  if (!known || known.row.rejected) return app.go(tries >= MOST_TRIES ? { name: "check", tries } : { name: "birth" });
  if (distinctPeople(app.view.people).length > 1) return app.go({ name: "birth", person: known });
  await showForms(app, known);
}

async function showForms(app: App, person: Person): Promise<void> {
  await enter(app, person);
  app.go({ name: "forms" });
  await refreshSheets(app, person.row.lookup);
}

/** False when the date is not that of the person whom this phone knows; what the clinic says of a date has screens of its own. */
export async function openWithBirthDate(app: App, born: string): Promise<boolean> {
  const { screen } = app.view;
  const known = screen.name === "birth" ? screen.person : undefined;
  if (!app.token) {
    if (!known) app.go({ name: "nolink" });
    else if (!(await isBirthDateOf(known, born))) return false;
    else await showForms(app, known);
    return true;
  }
  app.change({ busy: true });
  const keys = await deriveKeys(app.token, born);
  const accepted = app.view.people.some(({ row }) => row.lookup === keys.lookup && row.proof === keys.proof && !row.rejected);
  if (known && accepted) {
    app.token = null;
    await showForms(app, known);
  } else await prove(app, keys);
  return true;
}

export async function tryAgain(app: App): Promise<void> {
  if (!app.pendingKeys) return app.go({ name: app.token ? "birth" : "nolink" });
  app.change({ busy: true });
  await prove(app, app.pendingKeys);
}

/** Shows why nothing could be fetched, and tries again by itself for as long as that is shown. */
function showOffline(app: App, why: PostFailure): void {
  app.go({ name: "offline", why });
  app.context.setTimer(() => void retryOpening(app), retryDelay(app.failedOpenings, app.context.random()));
  app.failedOpenings += 1;
}

export async function retryOpening(app: App): Promise<void> {
  if (app.view.screen.name === "offline" && app.pendingKeys && !app.view.busy) await tryAgain(app);
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
  if (reply.kind === "later") return showOffline(app, reply.why);
  app.failedOpenings = 0;
  try {
    app.forgotten.delete(keys.lookup);
    const person = await keepPerson(app, await provenPersonRow(keys, app.tables), reply.fetched);
    app.token = null;
    app.pendingKeys = null;
    app.context.tries.note(keys.lookup, 0);
    await showFormsOf(app, person);
  } catch (fault) {
    if (!(fault instanceof BadSheet)) throw fault;
    app.go({ name: "offline", why: fault.fault === "newer" ? "newer" : "server" });
  }
}

async function showFormsOf(app: App, person: Person): Promise<void> {
  await enter(app, person);
  const screen = endScreen(person);
  await forgetEndedLink(app, person);
  await readDeviceStore(app);
  app.go(screen ?? { name: "forms" });
  await sendWaiting(app);
}

/** Forms still to be answered or sent; those received are not offered again. */
function openForms(person: Person): Form[] {
  return (person.sheet?.forms ?? []).filter((form) => !person.row.sent.includes(form.form_id));
}

/** The screen for a link under which nothing is left to do here; null otherwise. */
function endScreen(person: Person): Screen | null {
  if (person.sheet && openForms(person).length) return null;
  const { state, lookup } = person.row;
  const name = state === "ended" || state === "replaced" ? state : "nothing";
  return { name, lookup, first_name: person.sheet?.patient.first_name ?? "" };
}

/** A link that has ended leaves the phone, unless a draft or an unsent envelope still belongs to it. */
async function forgetEndedLink(app: App, person: Person): Promise<void> {
  const { state, lookup } = person.row;
  if (state !== "ended" && state !== "replaced") return;
  try {
    const rows = [...(await app.tables.all("drafts")), ...(await app.tables.all("outbox"))];
    if (rows.some((row) => row.lookup === lookup) || [...app.inMemory.drafts.keys()].some((name) => name.startsWith(lookup))) return;
    app.inMemory.people.delete(lookup);
    await app.tables.write([{ table: "people", remove: lookup }]);
  } catch {
    // A disk that does not answer: the next look for new forms tries again.
  }
}

async function refreshSheet(app: App, person: Person): Promise<void> {
  const { row } = person;
  const reply = await fetchDueSheet(row, app.context.post, () => app.context.now().getTime());
  if (reply.kind === "check") await keepRejected(app, person);
  app.change({ refresh_failure: reply.kind === "later" ? reply.why : null });
  if (reply.kind !== "due") return;
  try {
    const kept = await keepPerson(app, row, reply.fetched);
    await forgetEndedLink(app, kept);
    const end = endScreen(kept);
    const onlyThisPerson = app.view.people.length === 1 && !app.view.outbox.length;
    await readDeviceStore(app);
    if (end && onlyThisPerson && app.view.screen.name === "forms") app.go(end);
  } catch (fault) {
    if (!(fault instanceof BadSheet)) throw fault;
    app.change({ note: fault.fault === "newer" ? "newer" : null });
  }
}

/**
 * Asks again for everybody's forms, with a proof that was rejected once a day, or for `opened`, whose birth date was just entered. A form that
 * is open goes on with the sheet it was opened with.
 */
export async function refreshSheets(app: App, opened?: string): Promise<void> {
  for (const person of app.view.people) {
    const { lookup, rejected } = person.row;
    if (!rejected || lookup === opened || Math.abs(+app.context.now() - rejected) > 86_400_000) await refreshSheet(app, person);
  }
  if (!currentPerson(app.view)?.row.rejected) app.token = null;
  await sendWaiting(app);
}

async function sendWaiting(app: App): Promise<void> {
  if (app.view.outbox.some((row) => !row.trouble)) await sendNow(app, false);
}

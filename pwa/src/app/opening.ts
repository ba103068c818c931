/** From a link to a list of forms. */
import type { Form } from "../form/items";
import { deriveKeys, deriveLookup, type LinkKeys } from "../link/derive";
import { BadSheet } from "../link/sheet";
import { BadToken, codeIn, readToken } from "../link/token";
import { keepLanguage, listPeople, personFor, takeIn, type Person } from "../store/people";
import type { PersonRow } from "../store/tables";
import { askDue } from "../sync/due";
import type { Phone, Screen } from "./phone";

/** Reads again what is on this phone. */
export async function reload(phone: Phone): Promise<void> {
  const [people, drafts, kept, loose] = await Promise.all([
    listPeople(phone.tables),
    phone.tables.all("drafts"),
    phone.tables.all("outbox"),
    phone.spare.all("outbox"),
  ]);
  phone.change({ people, begun: new Set(drafts.map((draft) => draft.form_id)), outbox: [...kept, ...loose] });
}

/** The page has just been loaded, or another link was tapped while it was open. */
export async function arrive(phone: Phone, fragment: string): Promise<void> {
  if (!globalThis.crypto?.subtle) return phone.go({ name: "insecure" });
  if (fragment) return takeCode(phone, fragment);
  await phone.ready;
  const language = phone.view.people[0]?.row.language ?? phone.view.people[0]?.sheet?.patient.language;
  if (language && !phone.view.chosen) await phone.speak(language);
  const known = phone.view.people.length > 0 || phone.view.outbox.length > 0;
  phone.go({ name: known ? "forms" : "nolink" });
}

/** A code from the address or typed by hand. */
export function takeCode(phone: Phone, text: string): void {
  try {
    phone.token = readToken(codeIn(text));
    phone.greeted = true;
    phone.change({ open: null, note: null, screen: { name: "start" } });
  } catch (fault) {
    if (!(fault instanceof BadToken)) throw fault;
    phone.change({ open: null, screen: { name: "mistyped", fault: fault.fault } });
  }
}

/** The tap. A link that was opened on this phone before needs no birth date again. */
export async function begin(phone: Phone): Promise<void> {
  if (!phone.token) return phone.go({ name: "nolink" });
  await phone.ready;
  const lookup = await deriveLookup(phone.token);
  const known = phone.view.people.find((person) => person.row.lookup === lookup);
  if (!known) return phone.go({ name: "birth" });
  phone.change({ people: [known, ...phone.view.people.filter((person) => person !== known)] });
  await followLanguage(phone, known);
  phone.go({ name: "forms" });
  await refresh(phone);
}

export async function openWithBirth(phone: Phone, born: string): Promise<void> {
  if (!phone.token) return phone.go({ name: "nolink" });
  phone.change({ busy: true });
  await prove(phone, await deriveKeys(phone.token, born));
}

export async function tryAgain(phone: Phone): Promise<void> {
  if (!phone.pending) return phone.go({ name: phone.token ? "birth" : "nolink" });
  phone.change({ busy: true });
  await prove(phone, phone.pending);
}

async function prove(phone: Phone, keys: LinkKeys): Promise<void> {
  phone.pending = keys;
  const reply = await askDue(keys, phone.world.post, () => phone.world.now().getTime());
  if (reply.kind === "check") {
    phone.pending = null;
    phone.tries += 1;
    return phone.go({ name: "check", tries: phone.tries });
  }
  if (reply.kind === "later") return phone.go({ name: "offline", why: reply.why });
  try {
    const person = await takeIn(await personFor(keys, phone.tables), reply.fetched, phone.tables);
    phone.token = null;
    phone.pending = null;
    phone.tries = 0;
    await welcome(phone, person);
  } catch (fault) {
    if (!(fault instanceof BadSheet)) throw fault;
    phone.go({ name: "offline", why: fault.fault === "newer" ? "newer" : "server" });
  }
}

async function followLanguage(phone: Phone, person: Person): Promise<void> {
  const { chosen, language } = phone.view;
  const theirs = person.row.language ?? person.sheet?.patient.language;
  if (chosen) await keepLanguage(person.row, language, phone.tables);
  else if (theirs) await phone.speak(theirs);
}

async function welcome(phone: Phone, person: Person): Promise<void> {
  await followLanguage(phone, person);
  const screen = endOf(person);
  await tidyPerson(phone, person);
  await reload(phone);
  const first = phone.view.people.find((each) => each.row.lookup === person.row.lookup);
  const others = phone.view.people.filter((each) => each !== first);
  const stale = new Set([...phone.view.stale].filter((lookup) => lookup !== person.row.lookup));
  phone.change({ people: first ? [first, ...others] : others, stale });
  phone.go(screen ?? { name: "forms" });
}

/** Forms still to be answered or sent on; those received are not offered again. */
export function openForms(person: Person): Form[] {
  return (person.sheet?.forms ?? []).filter((form) => !person.row.sent.includes(form.form_id));
}

/** The screen for a link under which nothing is left to do here; null otherwise. */
function endOf(person: Person): Screen | null {
  if (person.sheet && openForms(person).length) return null;
  const name = person.row.state === "due" ? "nothing_due" : person.row.state;
  return { name: name === "nothing_due" ? "nothing" : name, first_name: person.sheet?.patient.first_name ?? "" };
}

/** A link that has ended leaves the phone, unless something unsent still hangs on it. */
async function tidyPerson(phone: Phone, person: Person): Promise<void> {
  if (person.row.state !== "ended" && person.row.state !== "replaced") return;
  const { lookup } = person.row;
  const rows = [...(await phone.tables.all("drafts")), ...(await phone.tables.all("outbox"))];
  if (rows.every((row) => row.lookup !== lookup)) await phone.tables.write([{ table: "people", remove: lookup }]);
}

async function refreshOne(phone: Phone, row: PersonRow): Promise<void> {
  const reply = await askDue(row, phone.world.post, () => phone.world.now().getTime());
  if (reply.kind === "check") phone.change({ stale: new Set([...phone.view.stale, row.lookup]) });
  phone.change({ unreached: reply.kind === "later" ? reply.why : null });
  if (reply.kind !== "due") return;
  try {
    const person = await takeIn(row, reply.fetched, phone.tables);
    await tidyPerson(phone, person);
    const end = endOf(person);
    const alone = phone.view.people.length === 1 && !phone.view.outbox.length;
    await reload(phone);
    if (end && alone && phone.view.screen.name === "forms") phone.go(end);
  } catch (fault) {
    if (!(fault instanceof BadSheet)) throw fault;
    phone.change({ note: fault.fault === "newer" ? "newer" : null });
  }
}

/** Asks again for everybody's forms. A form that is open goes on with the sheet it was opened with. */
export async function refresh(phone: Phone): Promise<void> {
  for (const person of phone.view.people) await refreshOne(phone, person.row);
  if (phone.view.stale.size === 0) phone.token = null;
}

export async function switchLanguage(phone: Phone, language: string): Promise<void> {
  phone.change({ chosen: true });
  await phone.speak(language);
  for (const person of phone.view.people) await keepLanguage(person.row, language, phone.tables);
}

/** Who answers: several people may use one phone. Each sees only their own forms, in their own language, and can be forgotten. */
import { birthCheck } from "../link/derive";
import { keepLanguage, type Person } from "../store/people";
import type { WriteOp } from "../store/tables";
import type { App, View } from "./app";
import { readDeviceStore } from "./device";

/** One person may have two links here for a while: an old one with unsent answers, and the one that replaced it. */
function isSame(one: Person, other: Person): boolean {
  return one.sheet?.patient.first_name === other.sheet?.patient.first_name && one.row.birth_check === other.row.birth_check;
}

/** Each person once. */
export function distinctPeople(people: Person[]): Person[] {
  return people.filter((person, at) => people.findIndex((each) => isSame(each, person)) === at);
}

/** The person whose forms are shown, by a link that the clinic accepts where there is one; the only one that is known needs no choosing. */
export function currentPerson(view: View): Person | undefined {
  const [only, ...others] = distinctPeople(view.people);
  const entered = view.people.find((person) => person.row.lookup === view.entered) ?? (others.length ? undefined : only);
  return entered?.row.rejected ? (linksOf(entered, view).find((link) => !link.row.rejected) ?? entered) : entered;
}

/** Whom the screen is for, if that is known: before Begin nobody has said who they are, and a link with nothing to answer is its own person's. */
export function personShown(view: View): Person | undefined {
  const { screen } = view;
  if (screen.name === "start") return undefined;
  return "lookup" in screen ? view.people.find((each) => each.row.lookup === screen.lookup) : currentPerson(view);
}

/** Every link of the person whose forms are shown. */
export function linksOf(person: Person, view: View): Person[] {
  return view.people.filter((each) => isSame(each, person));
}

async function setLanguageOf(app: App, person: Person, language: string): Promise<void> {
  const { lookup } = person.row;
  app.change({ people: app.view.people.map((each) => (each.row.lookup === lookup ? { ...each, row: { ...each.row, language } } : each)) });
  await keepLanguage(person.row, language, app.tables);
}

/** A language chosen before anybody had come in becomes that of the one who then does. */
async function applyLanguage(app: App, person: Person): Promise<void> {
  const { language_chosen, language } = app.view;
  const preferred = person.row.language ?? person.sheet?.patient.language;
  if (language_chosen) await setLanguageOf(app, person, language);
  else if (preferred) await app.setLanguage(preferred);
  app.change({ language_chosen: false });
}

export async function switchLanguage(app: App, language: string): Promise<void> {
  const person = currentPerson(app.view);
  app.change({ language_chosen: person === undefined });
  await app.setLanguage(language);
  if (person) await setLanguageOf(app, person, language);
}

/** From here on the forms of this person are shown. */
export async function enter(app: App, person: Person): Promise<void> {
  const others = app.view.people.filter((each) => each.row.lookup !== person.row.lookup);
  app.change({ entered: person.row.lookup, people: [person, ...others], note: null });
  await applyLanguage(app, person);
}

/** A person of this phone says who they are. Rows of earlier versions hold nothing to compare a date with. */
export async function choosePerson(app: App, person: Person): Promise<void> {
  app.token = null;
  if (person.row.birth_check !== undefined) return app.go({ name: "birth", person });
  await enter(app, person);
  app.go({ name: "forms" });
}

export async function isBirthDateOf({ row }: Person, born: string): Promise<boolean> {
  return row.birth_check === (await birthCheck(born));
}

export function askWhoAnswers(app: App): void {
  app.change({ entered: null, open: null });
  app.go({ name: "people" });
}

/** Takes a person out of the page; what is on disk is the caller's. */
export async function dropFromPage(app: App, lookup: string): Promise<void> {
  const { inMemory, view } = app;
  app.forgotten.add(lookup);
  inMemory.people.delete(lookup);
  for (const name of inMemory.drafts.keys()) if (name.startsWith(lookup)) inMemory.drafts.delete(name);
  const held = (await inMemory.outbox.all("outbox")).filter((row) => row.lookup === lookup);
  await inMemory.outbox.write(held.map((row) => ({ table: "outbox", remove: row.envelope_id })));
  const warned = view.warned.filter((open) => open.person.row.lookup !== lookup);
  app.change({ warned, open: view.open?.person.row.lookup === lookup ? null : view.open, outbox: view.outbox.filter((row) => row.lookup !== lookup) });
  await readDeviceStore(app);
}

/** Deletes everything of a person from this phone, unsent answers too, in one transaction. */
export async function forgetPerson(app: App, person: Person): Promise<void> {
  const lookups = linksOf(person, app.view).map((each) => each.row.lookup);
  const ops: WriteOp[] = lookups.map((lookup) => ({ table: "people", remove: lookup }));
  for (const row of await app.tables.all("drafts")) if (lookups.includes(row.lookup)) ops.push({ table: "drafts", remove: row.form_id });
  for (const row of await app.tables.all("outbox")) if (lookups.includes(row.lookup)) ops.push({ table: "outbox", remove: row.envelope_id });
  for (const lookup of lookups) app.forgotten.add(lookup);
  await app.tables.write(ops);
  for (const lookup of lookups) {
    app.context.tries.note(lookup, 0);
    await dropFromPage(app, lookup);
    app.context.tellForgotten(lookup);
  }
  app.change({ entered: null });
  app.go({ name: "forgotten" });
}

/** Another window of this page has forgotten the person. */
export async function hearForgotten(app: App, lookup: string): Promise<void> {
  const shown = currentPerson(app.view)?.row.lookup === lookup;
  await dropFromPage(app, lookup);
  if (shown) app.go({ name: "forgotten" });
}

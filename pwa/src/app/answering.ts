/** Answering one form: each answer is on disk before the next screen shows. */
import { faultOf } from "../form/check";
import type { Answer, Form, Value } from "../form/due_sheet";
import { contactItems, type Place, placeAfter, placeAfterChange, placeBefore, placeToResume, type Step, stepsOf, unreadWarnings, warningBefore } from "../form/flow";
import type { AnsweredBy } from "../form/payload";
import { type Draft, findDraft, mergeDrafts, newDraft, saveDraft } from "../store/drafts";
import type { Person } from "../store/people";
import { Conflict, underLink } from "../store/tables";
import type { App, OpenForm } from "./app";
import { askToKeep, readDeviceStore } from "./device";

function screenOf(place: Place): { name: "item" | "warning"; key: string } | { name: "who" | "review" } {
  return "key" in place ? { name: place.page, key: place.key } : { name: place.page };
}

/** The draft on disk, with what the disk refused since. */
async function readDraft(app: App, person: Person, formId: string): Promise<Draft | null> {
  const stored = await findDraft(formId, person.row, app.tables).catch(() => null);
  const unkept = app.inMemory.drafts.get(underLink(person.row.lookup, formId));
  return unkept && stored ? mergeDrafts(unkept, stored) : (unkept ?? stored);
}

export async function openForm(app: App, person: Person, form: Form): Promise<void> {
  if (!person.sheet) return;
  const all = stepsOf(form, person.sheet);
  const left_out = app.contactAsked.has(person.row.lookup) ? contactItems(all) : [];
  const draft = (await readDraft(app, person, form.form_id)) ?? { ...newDraft(form.form_id, person.row.lookup, app.instant()), left_out };
  const steps = all.filter((step) => !draft.left_out?.includes(step.key));
  app.change({ open: { person, sheet: person.sheet, form, steps, draft }, draft_status: draft.seq === null ? "none" : "saved", note: null });
  app.context.loadSeal().catch(() => undefined);
  await moveTo(app, placeToResume(draft.at, steps, draft.answers));
}

function editDraft(app: App, patch: Partial<Draft>): OpenForm | null {
  const { open } = app.view;
  if (!open) return null;
  const changed = { ...open, draft: { ...open.draft, ...patch } };
  app.changeWithoutDrawing({ open: changed, draft_status: app.view.draft_status === "unsaved" ? "unsaved" : "saving" });
  return changed;
}

function keepUnsaved(app: App, { draft, person }: OpenForm): void {
  app.inMemory.drafts.set(underLink(person.row.lookup, draft.form_id), draft);
  app.changeWithoutDrawing({ draft_status: "unsaved" });
}

/** What was answered while `written` was on its way is not on disk yet; its own write follows. */
function noteWritten(app: App, written: OpenForm, stored: Draft): void {
  const now = app.view.open;
  if (now?.draft.form_id !== stored.form_id || now.person.row.lookup !== written.person.row.lookup) return;
  const done = app.context.deviceStore.persistence === "all" ? "saved" : "none";
  app.changeWithoutDrawing({ open: { ...now, draft: mergeDrafts(now.draft, stored) }, draft_status: now === written ? done : "saving" });
}

async function writeDraft(app: App): Promise<boolean> {
  const { open } = app.view;
  if (!open) return true;
  try {
    const stored = await saveDraft(open.draft, open.person.row, app.tables);
    app.inMemory.drafts.delete(underLink(open.person.row.lookup, stored.form_id));
    noteWritten(app, open, stored);
    return true;
  } catch (fault) {
    if (fault instanceof Conflict) await leaveForm(app, "elsewhere");
    else keepUnsaved(app, open);
    return false;
  }
}

/**
 * Writes the draft as it is when its turn comes; a write that waits serves all who ask before it starts.
 * Gives false when the disk refuses: the answers then live in this page, and the page tells the person.
 */
export function saveOpenDraft(app: App): Promise<boolean> {
  if (app.queuedWrite) return app.queuedWrite;
  app.queuedWrite = app.runningWrite.then(() => {
    app.queuedWrite = null;
    return writeDraft(app);
  });
  app.runningWrite = app.queuedWrite;
  return app.queuedWrite;
}

/** The review, from which a form is sent, is reached only after every call-now page was shown, by whatever way. */
async function moveTo(app: App, place: Place): Promise<void> {
  const { open, screen } = app.view;
  const due = open && warningBefore(place, open.steps, open.draft.answers);
  const below = "back" in screen ? screen.back : screen;
  // The page carries the item it was reached from, so that one goes on and back from there.
  const at: Place = due ? { page: "warning", key: below.name === "item" ? below.key : due.key } : place;
  if (!editDraft(app, { at })) return;
  await saveOpenDraft(app);
  if (app.view.open) app.go(screenOf(at));
}

/** True when every call-now page was read, so that the form may be sent; otherwise shows the one that was not. */
export async function checkWarningsRead(app: App): Promise<boolean> {
  const { open } = app.view;
  if (!open || !unreadWarnings(open.steps, open.draft.answers).length) return true;
  await moveTo(app, { page: "review" });
  return false;
}

function setAnswer(app: App, key: string, state: Answer["state"], value?: Value): void {
  const { open } = app.view;
  if (!open) return;
  const now = app.instant();
  const first_at = open.draft.answers[key]?.first_at ?? now;
  const times = { first_at, last_at: now };
  const answer = state === "answered" && value !== undefined ? { state, value, ...times } : { state, ...times };
  editDraft(app, { answers: { ...open.draft.answers, [key]: answer as Answer } });
}

/** Shows at once what was done on the screen, writes it, then shows that it is written. */
async function saveAndShow(app: App): Promise<boolean> {
  app.change({});
  const onDisk = await saveOpenDraft(app);
  app.change({});
  return onDisk;
}

/** An answer was given on the screen: it is written to disk at once, and the same screen stays. */
export function answerItem(app: App, key: string, value: Value): Promise<boolean> {
  setAnswer(app, key, "answered", value);
  return saveAndShow(app);
}

export function answerNotApplicable(app: App, key: string): Promise<boolean> {
  setAnswer(app, key, "not_applicable");
  return saveAndShow(app);
}

/** The answer was taken back, such as a number wiped out. */
export function clearAnswer(app: App, key: string): Promise<boolean> {
  const { open } = app.view;
  if (!open?.draft.answers[key]) return Promise.resolve(true);
  const { [key]: _gone, ...answers } = open.draft.answers;
  editDraft(app, { answers });
  return saveAndShow(app);
}

export async function declineItem(app: App, key: string): Promise<void> {
  setAnswer(app, key, "declined");
  await continueAfter(app, key);
}

async function continueAfter(app: App, key: string): Promise<void> {
  const { open } = app.view;
  if (!open) return;
  const { draft, steps } = open;
  await moveTo(app, draft.reviewed ? placeAfterChange(steps, draft.answers) : placeAfter(key, steps, draft.answers));
}

/** The last day a form's answer may name: today by the clinic's clock as last heard, since the clinic takes no later month. */
export function lastDay(app: App): string {
  return app.today(app.view.open?.person.row.clock_skew_ms);
}

/** Whether the item may be left: it has an answer that fits. */
export function hasValidAnswer(app: App, step: Step): boolean {
  const answer = app.view.open?.draft.answers[step.key];
  if (!answer) return false;
  return answer.state !== "answered" || faultOf(step.item, answer.value, lastDay(app)) === null;
}

/** Next on an item. */
export function goToNext(app: App, step: Step): Promise<void> {
  return continueAfter(app, step.key);
}

/** The call-now page was read: it named every warning answer that was unread. `key`: the item it was reached from. */
export function markWarningRead(app: App, key: string): Promise<void> {
  const { open } = app.view;
  if (!open) return Promise.resolve();
  const answers = { ...open.draft.answers };
  for (const step of unreadWarnings(open.steps, answers)) answers[step.key] = { ...(answers[step.key] as Answer & { state: "answered" }), read: true };
  editDraft(app, { answers });
  return continueAfter(app, key);
}

export async function goBack(app: App): Promise<void> {
  const { open, screen } = app.view;
  if ("back" in screen) return app.go(screen.back);
  if (!open) return;
  const { draft, steps } = open;
  const current: Place = screen.name === "item" || screen.name === "warning" ? { page: screen.name, key: screen.key } : { page: screen.name as "who" | "review" };
  if (current.page === "item" && draft.reviewed) return moveTo(app, { page: "review" });
  if (current.page === "review") editDraft(app, { reviewed: false });
  const place = placeBefore(current, steps, draft.answers);
  return place ? moveTo(app, place) : goToList(app);
}

export async function setAnsweredBy(app: App, who: AnsweredBy): Promise<void> {
  editDraft(app, { answered_by: who });
  await saveAndShow(app);
}

export async function goToReview(app: App): Promise<void> {
  editDraft(app, { reviewed: true });
  const { open } = app.view;
  if (open) await moveTo(app, placeAfterChange(open.steps, open.draft.answers));
}

export function goToItem(app: App, key: string): Promise<void> {
  return moveTo(app, { page: "item", key });
}

export function goToWho(app: App): Promise<void> {
  return moveTo(app, { page: "who" });
}

/** From the form to the list of forms, past no call-now page that was not read, and only once the last answer is on disk or kept in this page. */
export async function goToList(app: App): Promise<void> {
  if (!(await checkWarningsRead(app))) return;
  await saveOpenDraft(app);
  if (app.view.open) await leaveForm(app, null);
}

/** To say that the page may be closed, or must not be. */
export async function stopForNow(app: App): Promise<void> {
  const { screen } = app.view;
  if (!(await checkWarningsRead(app))) return;
  await saveOpenDraft(app);
  if (app.view.open) app.go({ name: "stopped", back: "back" in screen ? screen.back : screen });
}

/** To the list of forms; the draft stays. */
export async function leaveForm(app: App, note: "elsewhere" | null): Promise<void> {
  app.change({ open: null, note, draft_status: "none" });
  void askToKeep(app);
  await readDeviceStore(app);
  app.go({ name: "forms" });
}

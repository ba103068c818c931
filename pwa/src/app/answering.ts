/** Answering one form: each answer is on disk before the next screen shows. */
import { faultOf } from "../form/check";
import { after, afterChange, askedSteps, before, isWarning, placeToResume, stepsOf, unreadWarning, type Place, type Step } from "../form/flow";
import type { Answer, Form, Value } from "../form/items";
import type { AnsweredBy } from "../form/payload";
import { findDraft, merge, newDraft, saveDraft, type Draft } from "../store/drafts";
import type { Person } from "../store/people";
import { Conflict } from "../store/tables";
import { reload } from "./opening";
import type { OpenForm, Phone } from "./phone";

function screenOf(place: Place): { name: "item" | "warning"; key: string } | { name: "who" | "review" } {
  return "key" in place ? { name: place.page, key: place.key } : { name: place.page };
}

export async function openForm(phone: Phone, person: Person, form: Form): Promise<void> {
  if (!person.sheet) return;
  const draft = (await findDraft(form.form_id, person.row, phone.tables)) ?? newDraft(form.form_id, phone.instant());
  const steps = stepsOf(form, person.sheet);
  phone.change({ open: { person, sheet: person.sheet, form, steps, draft }, kept: draft.seq === null ? "none" : "saved", note: null });
  phone.world.loadSeal().catch(() => undefined);
  await moveTo(phone, placeToResume(draft.at, steps, draft.answers));
}

function edit(phone: Phone, patch: Partial<Draft>): OpenForm | null {
  const { open } = phone.view;
  if (!open) return null;
  const changed = { ...open, draft: { ...open.draft, ...patch } };
  phone.set({ open: changed });
  return changed;
}

async function write(phone: Phone): Promise<boolean> {
  const { open } = phone.view;
  if (!open) return true;
  if (phone.view.kept !== "unsaved") phone.set({ kept: "saving" });
  try {
    const stored = await saveDraft(open.draft, open.person.row, phone.tables);
    const now = phone.view.open;
    const kept = phone.world.storage.keeps === "all" ? "saved" : "none";
    if (now?.draft.form_id === stored.form_id) phone.set({ open: { ...now, draft: merge(now.draft, stored) }, kept });
    return true;
  } catch (fault) {
    if (fault instanceof Conflict) await leave(phone, "elsewhere");
    else phone.set({ kept: "unsaved" });
    return false;
  }
}

/**
 * Writes the draft as it is when its turn comes; a write that waits serves all who ask before it starts.
 * Gives false when the disk refuses: the answers then live in this page, and the page says so.
 */
export function save(phone: Phone): Promise<boolean> {
  if (phone.queued) return phone.queued;
  phone.queued = phone.saving.then(() => {
    phone.queued = null;
    return write(phone);
  });
  phone.saving = phone.queued;
  return phone.queued;
}

/** The review, from which a form is sent, comes after every call-now page, whatever way leads to it. */
async function moveTo(phone: Phone, place: Place): Promise<void> {
  const { open } = phone.view;
  const unread = place.page === "review" && open && unreadWarning(open.steps, open.draft.answers);
  const at: Place = unread ? { page: "warning", key: unread.key } : place;
  if (!edit(phone, { at })) return;
  await save(phone);
  if (phone.view.open) phone.go(screenOf(at));
}

/** True when the form may be sent; otherwise the call-now page that was not read yet is shown. */
export async function warningsRead(phone: Phone): Promise<boolean> {
  const { open } = phone.view;
  if (!open || !unreadWarning(open.steps, open.draft.answers)) return true;
  await moveTo(phone, { page: "review" });
  return false;
}

function stamp(phone: Phone, key: string, state: Answer["state"], value?: Value): void {
  const { open } = phone.view;
  if (!open) return;
  const now = phone.instant();
  const first_at = open.draft.answers[key]?.first_at ?? now;
  const times = { first_at, last_at: now };
  const answer = state === "answered" && value !== undefined ? { state, value, ...times } : { state, ...times };
  edit(phone, { answers: { ...open.draft.answers, [key]: answer as Answer } });
}

/** Shows at once what was done on the screen, writes it, then shows that it is written. */
async function keep(phone: Phone): Promise<boolean> {
  phone.change({});
  const kept = await save(phone);
  phone.change({});
  return kept;
}

/** An answer was given on the screen; it goes to disk at once, and the screen stays. */
export function pick(phone: Phone, key: string, value: Value): Promise<boolean> {
  stamp(phone, key, "answered", value);
  return keep(phone);
}

export function pickNotApplicable(phone: Phone, key: string): Promise<boolean> {
  stamp(phone, key, "not_applicable");
  return keep(phone);
}

/** The answer was taken back, such as a number wiped out. */
export function unpick(phone: Phone, key: string): Promise<boolean> {
  const { open } = phone.view;
  if (!open?.draft.answers[key]) return Promise.resolve(true);
  const { [key]: _gone, ...answers } = open.draft.answers;
  edit(phone, { answers });
  return keep(phone);
}

export async function decline(phone: Phone, key: string): Promise<void> {
  stamp(phone, key, "declined");
  await onFrom(phone, key);
}

async function onFrom(phone: Phone, key: string): Promise<void> {
  const { open } = phone.view;
  if (!open) return;
  const { draft, steps } = open;
  await moveTo(phone, draft.reviewed ? afterChange(steps, draft.answers) : after(key, steps, draft.answers));
}

/** The last day a form's answer may name: today by the clinic's clock as last heard, since the clinic takes no later month. */
export function lastDay(phone: Phone): string {
  return phone.today(phone.view.open?.person.row.clock_skew_ms);
}

/** Whether the item may be left: it has an answer that fits. */
export function mayLeave(phone: Phone, step: Step): boolean {
  const answer = phone.view.open?.draft.answers[step.key];
  if (!answer) return false;
  return answer.state !== "answered" || faultOf(step.item, answer.value, lastDay(phone)) === null;
}

/** Next on an item. A warning answer leads to the call-now page first. */
export async function next(phone: Phone, step: Step): Promise<void> {
  const answer = phone.view.open?.draft.answers[step.key];
  if (isWarning(step, answer)) await moveTo(phone, { page: "warning", key: step.key });
  else await onFrom(phone, step.key);
}

export function warningRead(phone: Phone, key: string): Promise<void> {
  const { open } = phone.view;
  const answer = open?.draft.answers[key];
  if (open && answer?.state === "answered") edit(phone, { answers: { ...open.draft.answers, [key]: { ...answer, read: true } } });
  return onFrom(phone, key);
}

export async function back(phone: Phone): Promise<void> {
  const { open, screen } = phone.view;
  if (!open) return;
  const { draft, steps } = open;
  const here: Place = screen.name === "item" || screen.name === "warning" ? { page: screen.name, key: screen.key } : { page: screen.name as "who" | "review" };
  if (here.page === "item" && draft.reviewed) return moveTo(phone, { page: "review" });
  if (here.page === "review") edit(phone, { reviewed: false });
  const place = before(here, steps, draft.answers);
  if (place) await moveTo(phone, place);
  else await leave(phone, null);
}

export async function answeredBy(phone: Phone, who: AnsweredBy): Promise<void> {
  edit(phone, { answered_by: who });
  await keep(phone);
}

export async function toReview(phone: Phone): Promise<void> {
  edit(phone, { reviewed: true });
  const { open } = phone.view;
  if (open) await moveTo(phone, afterChange(open.steps, open.draft.answers));
}

export function changeItem(phone: Phone, key: string): Promise<void> {
  return moveTo(phone, { page: "item", key });
}

export function changeWho(phone: Phone): Promise<void> {
  return moveTo(phone, { page: "who" });
}

/** Items asked and not yet answered or declined. */
export function openItems(open: OpenForm): Step[] {
  return askedSteps(open.steps, open.draft.answers).filter((step) => !open.draft.answers[step.key]);
}

/** To the list of forms; the draft stays. */
export async function leave(phone: Phone, note: "elsewhere" | null): Promise<void> {
  phone.change({ open: null, note, kept: "none" });
  await reload(phone);
  phone.go({ name: "forms" });
}

/** Which item comes next. Pure: answers in, places out. */
import type { Answer, Answers, ChoiceItem, Definition, Form, Item, Sheet } from "./due_sheet";

export interface Step {
  /** `instrument/item` */
  key: string;
  instrument: string;
  item: Item;
}

export type Place =
  | { page: "item"; key: string }
  | { page: "warning"; key: string }
  | { page: "who" }
  | { page: "review" };

function itemOf(definition: Definition | undefined, name: string): Item {
  const item = definition?.items.find((each) => each.item === name);
  if (!item) throw new Error(`no item ${name}`);
  return item;
}

/** All items of a form in the order of the due sheet. */
export function stepsOf(form: Form, sheet: Sheet): Step[] {
  return form.parts.flatMap((part) =>
    part.items.map((name) => ({
      key: `${part.instrument}/${name}`,
      instrument: part.instrument,
      item: itemOf(sheet.instruments[part.instrument], name),
    })),
  );
}

/**
 * The items that ask how to reach the person, the same for each shoulder: a question with several follow-ups that are all identifying,
 * and those follow-ups. One alone is a question of the "which other one?" kind.
 */
export function contactItems(steps: Step[]): string[] {
  const isContact = (gate: Step): boolean => {
    const followUps = steps.filter((each) => each.instrument === gate.instrument && each.item.asked_if?.item === gate.item.item);
    return followUps.length > 1 && followUps.every((each) => each.item.identifying);
  };
  const gates = steps.filter(isContact);
  return steps
    .filter((each) => gates.includes(each) || gates.some((gate) => gate.instrument === each.instrument && gate.item.item === each.item.asked_if?.item))
    .map((each) => each.key);
}

/** Whether an item's own condition is met. An item whose condition names an item that is not asked is not asked either. */
export function isAsked(step: Step, steps: Step[], answers: Answers): boolean {
  const condition = step.item.asked_if;
  if (!condition) return true;
  const gate = steps.find((each) => each.instrument === step.instrument && each.item.item === condition.item);
  if (!gate || !isAsked(gate, steps, answers)) return false;
  const answer = answers[gate.key];
  return answer?.state === "answered" && condition.codes.includes(answer.value as number);
}

export function askedSteps(steps: Step[], answers: Answers): Step[] {
  return steps.filter((step) => isAsked(step, steps, answers));
}

function isOneOf(codes: number[] | undefined, answer: Answer | undefined): boolean {
  return answer?.state === "answered" && codes !== undefined && codes.includes(answer.value as number);
}

export function isWarning(step: Step, answer: Answer | undefined): boolean {
  return isOneOf((step.item as ChoiceItem).warning, answer);
}

export function isEmergency(step: Step, answer: Answer | undefined): boolean {
  return isOneOf((step.item as ChoiceItem).emergency, answer);
}

/** The warning answers whose call-now page was not read; no form is sent while there are any. */
export function unreadWarnings(steps: Step[], answers: Answers): Step[] {
  return askedSteps(steps, answers).filter((step) => {
    const answer = answers[step.key];
    return isWarning(step, answer) && !(answer as { read?: true }).read;
  });
}

/** Every warning answer that the call-now page names: those not read yet, or else, where the page was opened anew, all. */
export function warningAnswers({ steps, draft: { answers } }: { steps: Step[]; draft: { answers: Answers } }): Step[] {
  const unread = unreadWarnings(steps, answers);
  return unread.length ? unread : askedSteps(steps, answers).filter((step) => isWarning(step, answers[step.key]));
}

/** Whether an item has a warning answer, or one that hangs on it has. */
function asksForWarning(step: Step, steps: Step[]): boolean {
  const warns = (each: Step): boolean => (each.item as ChoiceItem).warning !== undefined;
  return warns(step) || steps.some((each) => each.instrument === step.instrument && each.item.asked_if?.item === step.item.item && warns(each));
}

/**
 * The last unread warning answer, when the call-now page must come before `next`. An answer for the emergency number lets nobody pass;
 * the others wait until the warning questions that follow each other are left, so that one page names them all.
 */
export function warningBefore(next: Place, steps: Step[], answers: Answers): Step | undefined {
  if (next.page === "warning") return undefined;
  const unread = unreadWarnings(steps, answers);
  const last = unread[unread.length - 1];
  if (!last || next.page !== "item") return last;
  const [from, to] = [last.key, next.key].map((key) => steps.findIndex((step) => step.key === key)) as [number, number];
  if (to === from) return undefined;
  const passed = steps.slice(Math.min(from, to), Math.max(from, to) + 1);
  const stillAsking = passed.every((step) => step.instrument === last.instrument && asksForWarning(step, steps));
  const emergency = unread.some((step) => isEmergency(step, answers[step.key]));
  return stillAsking && !emergency ? undefined : last;
}

/** After an item: the next asked one without an answer, once every item was passed; else simply the next asked one. */
export function placeAfter(key: string, steps: Step[], answers: Answers): Place {
  const asked = askedSteps(steps, answers);
  const order = steps.findIndex((step) => step.key === key);
  const later = asked.find((step) => steps.indexOf(step) > order);
  if (later) return { page: "item", key: later.key };
  const open = asked.find((step) => !answers[step.key]);
  return open ? { page: "item", key: open.key } : { page: "who" };
}

/** After a change from the review page: an item that the change opened, else back to the review. */
export function placeAfterChange(steps: Step[], answers: Answers): Place {
  const open = askedSteps(steps, answers).find((step) => !answers[step.key]);
  return open ? { page: "item", key: open.key } : { page: "review" };
}

/** Before a place; null is the list of forms. */
export function placeBefore(place: Place, steps: Step[], answers: Answers): Place | null {
  if (place.page === "review") return { page: "who" };
  if (place.page === "warning") return { page: "item", key: place.key };
  const asked = askedSteps(steps, answers);
  const order = place.page === "who" ? steps.length : steps.findIndex((step) => step.key === place.key);
  const earlier = asked.filter((step) => steps.indexOf(step) < order).pop();
  return earlier ? { page: "item", key: earlier.key } : null;
}

/** Where a form is begun or continued; a place that the sheet no longer has becomes the first open item. */
export function placeToResume(at: Place | null, steps: Step[], answers: Answers): Place {
  const fresh = placeAfterChange(steps, answers);
  if (!at) return fresh;
  if (at.page === "who" || at.page === "review") return fresh.page === "item" ? fresh : at;
  const step = steps.find((each) => each.key === at.key);
  return step && isAsked(step, steps, answers) ? at : fresh;
}

/** The number of questions that everybody is asked, so that it stays the same whatever is answered. */
export function questionCount(steps: Step[]): number {
  return steps.filter((step) => !step.item.asked_if).length;
}

/** `place` counts from 1; a question that hangs on another has the place of that other one. */
export function progress(key: string, steps: Step[]): { place: number; of: number } {
  const order = steps.findIndex((step) => step.key === key);
  return { place: questionCount(steps.slice(0, order + 1)), of: questionCount(steps) };
}

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

export function isWarning(step: Step, answer: Answer | undefined): boolean {
  const codes = (step.item as ChoiceItem).warning;
  return answer?.state === "answered" && codes !== undefined && codes.includes(answer.value as number);
}

/** The first warning answer whose call-now page was not read; no form is sent while there is one. */
export function unreadWarning(steps: Step[], answers: Answers): Step | undefined {
  return askedSteps(steps, answers).find((step) => {
    const answer = answers[step.key];
    return isWarning(step, answer) && !(answer as { read?: true }).read;
  });
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

/** `place` counts from 1 among the items asked so far. */
export function progress(key: string, steps: Step[], answers: Answers): { place: number; of: number } {
  const asked = askedSteps(steps, answers);
  return { place: asked.findIndex((step) => step.key === key) + 1, of: asked.length };
}

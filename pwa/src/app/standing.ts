/** What a form's standing under a link is. Two links of a person may ask for the same form; what is known of it is known by both. */
import type { Form } from "../form/due_sheet";
import type { Person } from "../store/people";
import { type OutboxRow, underLink } from "../store/tables";
import type { View } from "./app";

export type Standing = "start" | "carry_on" | "waiting" | "refused" | "received" | "held";

/** Its sealed answers that have not been received. What another link has refused keeps nobody from answering under this one; what still waits there does. */
export function waitingOf({ form_id }: Form, { row }: Person, view: View): OutboxRow | undefined {
  const rows = view.outbox.filter((each) => each.form_id === form_id);
  return rows.find((each) => each.lookup === row.lookup) ?? rows.find((each) => !each.trouble);
}

export function standingOf(form: Form, person: Person, view: View): Standing {
  const { form_id } = form;
  const begun = view.begun.has(underLink(person.row.lookup, form_id));
  const row = waitingOf(form, person, view);
  if (row) return row.trouble ? "refused" : "waiting";
  if (person.sheet?.held?.includes(form_id) && !begun) return "held";
  if (person.row.sent.includes(form_id)) return "received";
  return begun ? "carry_on" : "start";
}

/** Whether the form still waits for answers: not begun, or begun and not finished. */
export function awaitsAnswers(form: Form, person: Person, view: View): boolean {
  return ["start", "carry_on"].includes(standingOf(form, person, view));
}

/** Answers were received, but a restore has lost them. */
export function isLost(form: Form, person: Person, view: View): boolean {
  return person.row.lost?.includes(form.form_id) === true && awaitsAnswers(form, person, view);
}

interface FormsByLink {
  asked: Map<string, Person>;
  shown: [Person, Form[]][];
}

/**
 * What the person still has to answer, and the forms of each link, first of that which they came in by. A link that the clinic does not accept
 * asks for nothing beside one that it does. A form that one asks for does not stand under another as received: what came by that was not used
 * or is lost. What waits, was refused or is held always stands, under its own link.
 */
export function formsByLink(links: Person[], view: View): FormsByLink {
  const asked = new Map<string, Person>();
  const all = links.map((link): [Person, Form[]] => [link, link.sheet?.forms ?? []]);
  const isDead = ({ row }: Person): boolean => !!row.rejected && !links.every((link) => link.row.rejected);
  for (const [link, forms] of all) {
    for (const form of forms) if (!isDead(link) && !asked.has(form.form_id) && awaitsAnswers(form, link, view)) asked.set(form.form_id, link);
  }
  const isShown = (form: Form, link: Person): boolean => {
    switch (standingOf(form, link, view)) {
      case "start":
        return asked.get(form.form_id) === link;
      case "carry_on":
        return !isDead(link) || !asked.has(form.form_id);
      case "received":
        return !asked.has(form.form_id);
      case "held":
        return true;
      default:
        return waitingOf(form, link, view)?.lookup === link.row.lookup;
    }
  };
  return { asked, shown: all.map(([link, forms]) => [link, forms.filter((form) => isShown(form, link))]) };
}

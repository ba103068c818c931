/** Who and which shoulder: the forms on this phone, to start, carry on or send. */
import type { JSX } from "preact";
import { openForm } from "../app/answering";
import type { View } from "../app/app";
import { sendNow } from "../app/finishing";
import type { Form } from "../form/due_sheet";
import { longDate } from "../i18n";
import type { Person } from "../store/people";
import { Cautions } from "./clinic_numbers";
import { ActionButton, type ScreenProps, SideMark, sideName, Title } from "./controls";

type FormStatus = "start" | "carry_on" | "waiting" | "refused" | "received" | "held";

export function formStatus(form: Form, person: Person, view: View): FormStatus {
  const row = view.outbox.find((each) => each.form_id === form.form_id);
  if (row) return row.trouble ? "refused" : "waiting";
  if (person.sheet?.held?.includes(form.form_id) && !view.begun.has(form.form_id)) return "held";
  if (person.row.sent.includes(form.form_id)) return "received";
  return view.begun.has(form.form_id) ? "carry_on" : "start";
}

function carryOnLabel(form: Form, person: Person, { t }: ScreenProps): string {
  const name = person.sheet?.patient.first_name ?? "";
  if (!form.side) return t("form_carry_on_no_side", { name });
  return t("form_carry_on", { name, side: sideName(form.side, t).toLowerCase() });
}

function FormRow({ form, person, ...props }: ScreenProps & { form: Form; person: Person }): JSX.Element {
  const { app, view, t } = props;
  const status = formStatus(form, person, view);
  const title = form.title[view.language] ?? Object.values(form.title)[0] ?? "";
  return (
    <li class={`form-row ${form.side ?? "no-side"}`} data-form={form.form_id} data-side={form.side ?? ""} data-standing={status}>
      <h2>
        <SideMark side={form.side} /> {sideName(form.side, t)}
      </h2>
      <p>
        {title}
        {form.operation_on && <span class="soft">{t("operated_on", { date: longDate(form.operation_on, view.language) })}</span>}
      </p>
      {form.gone && status === "carry_on" && <p class="soft">{t("form_gone")}</p>}
      {status === "start" || status === "carry_on" ? (
        <>
          <ActionButton name={status === "start" ? "start-form" : "carry-on"} onPress={() => openForm(app, person, form)}>
            {status === "start" ? t("form_start") : carryOnLabel(form, person, props)}
          </ActionButton>
          {status === "start" && <p class="soft minutes">{t("minutes", { n: form.minutes })}</p>}
        </>
      ) : (
        <p class="standing">{t(`form_${status}`)}</p>
      )}
    </li>
  );
}

function Notes({ app, view, t }: ScreenProps): JSX.Element {
  const messages: string[] = [];
  if (view.note === "elsewhere") messages.push(t("forms_elsewhere"));
  if (view.note === "newer") messages.push(t("forms_newer"));
  if (view.rejected_proofs.size) messages.push(t("forms_stale"));
  if (view.refresh_failure && view.people.length) messages.push(`${t(`offline_${view.refresh_failure}`)} ${t("forms_go_on")}`);
  const { persistence } = app.context.deviceStore;
  if (persistence !== "all") messages.push(t(persistence === "nothing" ? "nothing_line" : "sealed_only_line"));
  for (const person of view.people) if (person.row.state === "ended" || person.row.state === "replaced") messages.push(t(`link_${person.row.state}`));
  return (
    <div role="status">
      {messages.map((each) => (
        <p class="note" key={each}>
          {each}
        </p>
      ))}
      {view.rejected_proofs.size > 0 && app.token && (
        <ActionButton name="prove" kind="plain" onPress={() => app.go({ name: "birth" })}>
          {t("forms_prove")}
        </ActionButton>
      )}
    </div>
  );
}

/** Whether the form still waits for answers: not begun, or begun and not finished. */
export function awaitsAnswers(form: Form, person: Person, view: View): boolean {
  return ["start", "carry_on"].includes(formStatus(form, person, view));
}

/** Sending what waits in the outbox, with a note for each envelope whose form no sheet on this phone names any more. */
function OutboxNotes({ app, view, t }: ScreenProps): JSX.Element | null {
  const named = new Set(view.people.flatMap((person) => (person.sheet?.forms ?? []).map((form) => form.form_id)));
  const orphans = view.outbox.filter((row) => !named.has(row.form_id));
  if (!view.outbox.length) return null;
  return (
    <>
      {orphans.map((row) => (
        <p class="note" key={row.envelope_id}>
          {t(row.form_id ? (row.trouble ? "form_refused" : "form_waiting") : row.trouble ? "notice_refused" : "notice_waiting")}
        </p>
      ))}
      {view.send_failure && <p class="soft">{t(`offline_${view.send_failure}`)}</p>}
      <ActionButton name="send-now" kind="plain" busy={view.sending} onPress={() => sendNow(app, true)}>
        {t("send_now")}
      </ActionButton>
    </>
  );
}

export function Forms(props: ScreenProps): JSX.Element {
  const { view, t } = props;
  const asked = view.people.filter((person) => person.sheet?.forms.length);
  const people = asked.length ? asked : view.people;
  const alone = people.length === 1 ? people[0] : undefined;
  const offered = alone ? (alone.sheet?.forms ?? []).filter((form) => awaitsAnswers(form, alone, view)) : [];
  const untouched = !view.begun.size && !view.outbox.length && people.every((person) => !person.row.sent.length);
  return (
    <>
      <Title>{alone ? t("forms_hello", { name: alone.sheet?.patient.first_name ?? "" }) : t("forms_who")}</Title>
      {offered.length > 0 && <p>{t("forms_intro", { n: offered.length })}</p>}
      <Notes {...props} />
      {people.map((person) => (
        <section key={person.row.lookup} data-person={person.sheet?.patient.first_name ?? ""}>
          {!alone && <p class="person">{person.sheet?.patient.first_name}</p>}
          <ul class="forms">
            {(person.sheet?.forms ?? []).map((form) => (
              <FormRow key={form.form_id} {...props} form={form} person={person} />
            ))}
          </ul>
          {!person.sheet?.forms.length && <p class="soft">{t("nothing_title")}</p>}
          {person.sheet && (
            <button type="button" class="quiet" data-do="wrong" onClick={() => props.app.go({ name: "wrong", person, form_id: null, back: { name: "forms" } })}>
              {t("wrong")}
            </button>
          )}
        </section>
      ))}
      <OutboxNotes {...props} />
      {offered.length > 0 && untouched && <p class="soft second">{t("forms_second")}</p>}
      {!props.app.cautionsShown && <Cautions {...props} short />}
    </>
  );
}

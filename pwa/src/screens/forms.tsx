/** Who and which shoulder: the forms on this phone, to start, carry on or send. */
import type { JSX } from "preact";
import { openForm } from "../app/answering";
import { sendNow } from "../app/finishing";
import type { View } from "../app/phone";
import type { Form } from "../form/items";
import { longDate } from "../i18n";
import type { Person } from "../store/people";
import { Cautions, Do, type ScreenProps, SideMark, sideName, Title } from "./parts";

type Standing = "start" | "carry_on" | "waiting" | "refused" | "received";

export function standingOf(form: Form, person: Person, view: View): Standing {
  const row = view.outbox.find((each) => each.form_id === form.form_id);
  if (row) return row.trouble ? "refused" : "waiting";
  if (person.row.sent.includes(form.form_id)) return "received";
  return view.begun.has(form.form_id) ? "carry_on" : "start";
}

function startWords(form: Form, person: Person, { t }: ScreenProps): string {
  const name = person.sheet?.patient.first_name ?? "";
  if (!form.side) return t("form_carry_on_no_side", { name });
  return t("form_carry_on", { name, side: sideName(form.side, t).toLowerCase() });
}

function FormRow({ form, person, ...props }: ScreenProps & { form: Form; person: Person }): JSX.Element {
  const { phone, view, t } = props;
  const standing = standingOf(form, person, view);
  const title = form.title[view.language] ?? Object.values(form.title)[0] ?? "";
  return (
    <li class={`form-row ${form.side ?? "no-side"}`} data-form={form.form_id} data-side={form.side ?? ""} data-standing={standing}>
      <h2>
        <SideMark side={form.side} /> {sideName(form.side, t)}
      </h2>
      <p>
        {title}
        {form.operation_on && <span class="soft">{t("operated_on", { date: longDate(form.operation_on, view.language) })}</span>}
      </p>
      {form.gone && standing === "carry_on" && <p class="soft">{t("form_gone")}</p>}
      {standing === "start" || standing === "carry_on" ? (
        <>
          <Do what={standing === "start" ? "start-form" : "carry-on"} on={() => openForm(phone, person, form)}>
            {standing === "start" ? t("form_start") : startWords(form, person, props)}
          </Do>
          {standing === "start" && <p class="soft minutes">{t("minutes", { n: form.minutes })}</p>}
        </>
      ) : (
        <p class="standing">{t(`form_${standing}`)}</p>
      )}
    </li>
  );
}

function Notes({ phone, view, t }: ScreenProps): JSX.Element {
  const says: string[] = [];
  if (view.note === "elsewhere") says.push(t("forms_elsewhere"));
  if (view.note === "newer") says.push(t("forms_newer"));
  if (view.stale.size) says.push(t("forms_stale"));
  if (view.unreached && view.people.length) says.push(`${t(`offline_${view.unreached}`)} ${t("forms_go_on")}`);
  const { keeps } = phone.world.storage;
  if (keeps !== "all") says.push(t(keeps === "nothing" ? "nothing_line" : "sealed_only_line"));
  for (const person of view.people) if (person.row.state === "ended" || person.row.state === "replaced") says.push(t(`link_${person.row.state}`));
  return (
    <div role="status">
      {says.map((each) => (
        <p class="note" key={each}>
          {each}
        </p>
      ))}
      {view.stale.size > 0 && phone.token && (
        <Do what="prove" kind="plain" on={() => phone.go({ name: "birth" })}>
          {t("forms_prove")}
        </Do>
      )}
    </div>
  );
}

/** Whether answers are still wanted: not begun, or begun and not finished. */
export function isOpen(form: Form, person: Person, view: View): boolean {
  return ["start", "carry_on"].includes(standingOf(form, person, view));
}

/** Rows of the outbox whose form no sheet on this phone names any more. */
function Orphans({ phone, view, t }: ScreenProps): JSX.Element | null {
  const named = new Set(view.people.flatMap((person) => (person.sheet?.forms ?? []).map((form) => form.form_id)));
  const orphans = view.outbox.filter((row) => !named.has(row.form_id));
  if (!view.outbox.length) return null;
  return (
    <>
      {orphans.map((row) => (
        <p class="note" key={row.envelope_id}>
          {t(row.trouble ? "form_refused" : "form_waiting")}
        </p>
      ))}
      {view.held_up && <p class="soft">{t(`offline_${view.held_up}`)}</p>}
      <Do what="send-now" kind="plain" busy={view.sending} on={() => sendNow(phone, true)}>
        {t("send_now")}
      </Do>
    </>
  );
}

export function Forms(props: ScreenProps): JSX.Element {
  const { view, t } = props;
  const asked = view.people.filter((person) => person.sheet?.forms.length);
  const people = asked.length ? asked : view.people;
  const alone = people.length === 1 ? people[0] : undefined;
  const offered = alone ? (alone.sheet?.forms ?? []).filter((form) => isOpen(form, alone, view)) : [];
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
        </section>
      ))}
      <Orphans {...props} />
      {offered.length > 0 && untouched && <p class="soft second">{t("forms_second")}</p>}
      {!props.phone.greeted && <Cautions {...props} short />}
    </>
  );
}

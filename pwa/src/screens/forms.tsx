/** Who and which shoulder: the forms on this phone, to start, carry on or send. */
import type { JSX } from "preact";
import { openForm } from "../app/answering";
import type { View } from "../app/app";
import { sendNow } from "../app/finishing";
import { askWhoAnswers, currentPerson, distinctPeople, linksOf } from "../app/people";
import { askToForget, askWhatIsWrong } from "../app/reading";
import { formsByLink, isLost, standingOf, waitingOf } from "../app/standing";
import type { Form } from "../form/due_sheet";
import { longDate, type Translate } from "../i18n";
import type { Person } from "../store/people";
import { type OutboxRow, underLink } from "../store/tables";
import { Cautions } from "./clinic_numbers";
import { ActionButton, type ScreenProps, SideMark, sideName, Title } from "./controls";
import { ComeAgain } from "./come_again";
import { People } from "./people";
import { PrivacyLink } from "./privacy_link";

/** What is said of a sealed form that has not been received; of one that the clinic refused also why, however often the page is opened. */
function WaitingWords({ row, view, t }: { row: OutboxRow; view: View; t: Translate }): JSX.Element {
  const unkept = view.in_memory.has(row.envelope_id);
  if (!row.trouble) return <p class="standing">{t(unkept ? "form_waiting_unsaved" : "form_waiting")}</p>;
  return (
    <>
      <p class="standing">{t(unkept ? "refused_lost" : "form_refused")}</p>
      <p>
        {t(`refused_${row.trouble}`)} {t("refused_do")}
      </p>
    </>
  );
}

function startLabel(form: Form, { t }: ScreenProps): string {
  return form.side ? t("form_start_side", { side: sideName(form.side, t).toLowerCase() }) : t("form_start");
}

function carryOnLabel(form: Form, person: Person, { t }: ScreenProps): string {
  const name = person.sheet?.patient.first_name ?? "";
  if (!form.side) return t("form_carry_on_no_side", { name });
  return t("form_carry_on", { name, side: sideName(form.side, t).toLowerCase() });
}

function FormRow({ form, person, ...props }: ScreenProps & { form: Form; person: Person }): JSX.Element {
  const { app, view, t } = props;
  const status = standingOf(form, person, view);
  const row = waitingOf(form, person, view);
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
      {app.privacy && isLost(form, person, view) && <p class="note">{t("form_lost")}</p>}
      {status === "start" || status === "carry_on" ? (
        <>
          <ActionButton name={status === "start" ? "start-form" : "carry-on"} onPress={() => openForm(app, person, form)}>
            {status === "start" ? startLabel(form, props) : carryOnLabel(form, person, props)}
          </ActionButton>
          {status === "start" && <p class="soft minutes">{t("minutes", { n: form.minutes })}</p>}
        </>
      ) : (
        (row && <WaitingWords row={row} view={view} t={t} />) || <p class="standing">{t(status === "held" ? "form_held" : "form_received")}</p>
      )}
    </li>
  );
}

function Notes({ app, view, t, stale }: ScreenProps & { stale: boolean | undefined }): JSX.Element {
  const messages: string[] = [];
  if (view.note === "elsewhere") messages.push(t("forms_elsewhere"));
  if (view.note === "newer") messages.push(t("forms_newer"));
  if (stale) messages.push(t("forms_stale"));
  if (view.refresh_failure && view.people.length) messages.push(`${t(`offline_${view.refresh_failure}`)} ${t("forms_go_on")}`);
  const { persistence } = app.context.deviceStore;
  if (app.inMemory.people.size || app.inMemory.drafts.size) messages.push(t("unsaved_line"));
  if (persistence !== "all") messages.push(t(persistence === "nothing" ? "nothing_line" : "sealed_only_line"));
  for (const person of view.people) if (person.row.state === "ended" || person.row.state === "replaced") messages.push(t(`link_${person.row.state}`));
  return (
    <div role="status">
      {messages.map((each) => (
        <p class="note" key={each}>
          {each}
        </p>
      ))}
      {stale && app.token && (
        <ActionButton name="prove" kind="plain" onPress={() => app.go({ name: "birth" })}>
          {t("forms_prove")}
        </ActionButton>
      )}
    </div>
  );
}

/** Sending what waits in the outbox, with a note for each envelope whose form no sheet on this phone names any more. */
function OutboxNotes(props: ScreenProps): JSX.Element | null {
  const { app, view, t } = props;
  const named = new Set(view.people.flatMap(({ row, sheet }) => (sheet?.forms ?? []).map((form) => underLink(row.lookup, form.form_id))));
  const orphans = view.outbox.filter((row) => !named.has(underLink(row.lookup, row.form_id)));
  if (!view.outbox.length) return null;
  return (
    <>
      {orphans.map((row) => (
        <div class="note" key={row.envelope_id}>
          {row.form_id ? <WaitingWords row={row} view={view} t={t} /> : t(row.trouble ? "notice_refused" : "notice_waiting")}
        </div>
      ))}
      {view.send_failure && <p class="soft">{t(`offline_${view.send_failure}`)}</p>}
      <ActionButton name="send-now" kind="plain" busy={view.sending} onPress={() => sendNow(app, true)}>
        {t("send_now")}
      </ActionButton>
      {!view.sending && view.outbox.some((row) => !row.trouble && !view.in_memory.has(row.envelope_id)) && <ComeAgain {...props} />}
    </>
  );
}

function FormsOf({ person, forms, ...props }: ScreenProps & { person: Person; forms: Form[] }): JSX.Element {
  return (
    <section data-person={person.sheet?.patient.first_name ?? ""}>
      <ul class="forms">
        {forms.map((form) => (
          <FormRow key={form.form_id} {...props} form={form} person={person} />
        ))}
      </ul>
      {!forms.length && <p class="soft">{props.t("nothing_title")}</p>}
    </section>
  );
}

/** What is said of the person and not of a form: something is wrong, somebody else answers, forget me. */
function PersonButtons({ person, ...props }: ScreenProps & { person: Person }): JSX.Element {
  const { app, view, t } = props;
  return (
    <div class="person-buttons">
      <PrivacyLink {...props} person={person} />
      {person.sheet && (
        <button type="button" class="quiet" data-do="wrong" onClick={() => askWhatIsWrong(app, person, null, view.screen)}>
          {t("wrong")}
        </button>
      )}
      {distinctPeople(view.people).length > 1 && (
        <button type="button" class="quiet" data-do="other-person" onClick={() => askWhoAnswers(app)}>
          {t("other_person")}
        </button>
      )}
      <button type="button" class="quiet" data-do="forget" onClick={() => askToForget(app, person)}>
        {t("forget")}
      </button>
    </div>
  );
}

export function Forms(props: ScreenProps): JSX.Element {
  const { view, t } = props;
  const person = currentPerson(view);
  if (!person && view.people.length) return <People {...props} />;
  const links = person ? [person, ...linksOf(person, view).filter((each) => each !== person)] : [];
  const { asked, shown } = formsByLink(links, view);
  const withForms = shown.filter(([, forms]) => forms.length);
  const untouched = !view.begun.size && !view.outbox.length && links.every(({ row }) => !row.sent.concat(row.lost ?? []).length);
  return (
    <>
      <Title>{t("forms_hello", { name: person?.sheet?.patient.first_name ?? "" })}</Title>
      {asked.size > 0 && <p>{t("forms_intro", { n: asked.size })}</p>}
      <Notes {...props} stale={!!person?.row.rejected} />
      {(withForms.length ? withForms : shown.slice(0, 1)).map(([each, forms]) => (
        <FormsOf key={each.row.lookup} {...props} person={each} forms={forms} />
      ))}
      <OutboxNotes {...props} />
      {asked.size > 0 && untouched && <p class="soft second">{t("forms_second")}</p>}
      {person && <PersonButtons {...props} person={person} />}
      {!props.app.cautionsShown && <Cautions {...props} short />}
    </>
  );
}

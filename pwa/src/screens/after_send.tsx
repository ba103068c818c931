/** The screens after Send: saved on this phone, received, or refused. None claims more than has happened. */
import type { JSX } from "preact";
import type { View } from "../app/app";
import { sendNow } from "../app/finishing";
import { linksOf } from "../app/people";
import { formsByLink } from "../app/standing";
import type { Form } from "../form/due_sheet";
import type { Person } from "../store/people";
import type { OutboxRow } from "../store/tables";
import { ComeAgain } from "./come_again";
import { CallLinks, Cautions } from "./clinic_numbers";
import { ActionButton, Ruler, type ScreenProps, sideName, Title } from "./controls";
import { CallNow } from "./review";

function personOf(row: OutboxRow, view: View): Person | undefined {
  return view.people.find((person) => person.row.lookup === row.lookup);
}

/** The forms of the same person that still wait for answers. */
function formsLeft(row: OutboxRow, view: View): Form[] {
  const person = personOf(row, view);
  if (!person) return [];
  const { asked } = formsByLink(linksOf(person, view), view);
  return [...asked].flatMap(([id, link]) => link.sheet?.forms.filter((form) => form.form_id === id) ?? []);
}

/** To the list of forms; where only one is left, its side is named. */
function nextLabel([form, ...others]: Form[], t: ScreenProps["t"]): string {
  return form?.side && !others.length ? t("next_form_side", { side: sideName(form.side, t).toLowerCase() }) : t("next_form");
}

/** What had to be read before a form could be sent stands first once more, above the screen's own title. */
function Warned({ row, ...props }: ScreenProps & { row: OutboxRow }): JSX.Element {
  return <>{props.view.warned.map((open) => open.person.row.lookup === row.lookup && <CallNow {...props} open={open} />)}</>;
}

function NextForm({ app, view, t, row }: ScreenProps & { row: OutboxRow }): JSX.Element | null {
  const more = formsLeft(row, view);
  if (!more.length) return null;
  return (
    <>
      <p>{t("received_next", { n: more.length })}</p>
      <nav>
        <ActionButton name="next-form" onPress={() => app.go({ name: "forms" })}>
          {nextLabel(more, t)}
        </ActionButton>
      </nav>
    </>
  );
}

export function Saved(props: ScreenProps & { row: OutboxRow }): JSX.Element {
  const { app, view, t, row } = props;
  const { screen } = view;
  const onDisk = screen.name === "saved";
  return (
    <>
      <Warned {...props} />
      <Ruler place={13} of={12} />
      <Title>{t(onDisk ? "saved_title" : "unsaved_title")}</Title>
      {screen.name === "unsaved" && (
        <p>
          {t("unsaved_what")} {t(screen.begun_kept ? "unsaved_begun" : "unsaved_lost")}
        </p>
      )}
      <p role="status">{view.sending ? t("saved_sending") : onDisk ? t("saved_waiting") : t("offline_title")}</p>
      {!view.sending && view.send_failure && <p class="soft">{t(`offline_${view.send_failure}`)}</p>}
      {!view.sending && (
        <ActionButton name="send-now" kind="plain" onPress={() => sendNow(app, false)}>
          {t("send_now")}
        </ActionButton>
      )}
      {onDisk && !view.sending && <ComeAgain {...props} />}
      <NextForm {...props} row={row} />
      <Cautions {...props} short={formsLeft(row, view).length > 0} />
    </>
  );
}

export function Received(props: ScreenProps & { row: OutboxRow }): JSX.Element {
  const { view, t, row } = props;
  const more = formsLeft(row, view).length;
  const name = personOf(row, view)?.sheet?.patient.first_name;
  return (
    <>
      <Warned {...props} />
      <Ruler place={13} of={12} />
      <Title>{t("received_title")}</Title>
      <p role="status">
        {name ? t("received_what", { name }) : t("received_no_name")} {!more && t("received_done")}
      </p>
      <NextForm {...props} row={row} />
      <Cautions {...props} short={more > 0} />
    </>
  );
}

export function Refused(props: ScreenProps): JSX.Element | null {
  const { app, view, t } = props;
  const { screen } = view;
  if (screen.name !== "refused") return null;
  const onDisk = !view.in_memory.has(screen.row.envelope_id);
  const more = formsLeft(screen.row, view);
  return (
    <>
      <Warned {...props} row={screen.row} />
      <Title>{t("refused_title")}</Title>
      <p role="alert">{t(`refused_${screen.trouble}`)}</p>
      <p>
        {t(onDisk ? "refused_kept" : "refused_lost")} {t("refused_do")}
      </p>
      <CallLinks {...props} />
      <nav>
        <ActionButton name="send-now" kind="plain" busy={view.sending} onPress={() => sendNow(app, true)}>
          {t("try_again")}
        </ActionButton>
        {more.length > 0 && (
          <ActionButton name="next-form" onPress={() => app.go({ name: "forms" })}>
            {nextLabel(more, t)}
          </ActionButton>
        )}
      </nav>
    </>
  );
}

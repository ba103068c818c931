/** After Send: saved, received, or not taken. Each says only what is so. */
import type { JSX } from "preact";
import { sendNow } from "../app/finishing";
import type { View } from "../app/phone";
import type { OutboxRow } from "../store/tables";
import { isOpen } from "./forms";
import { Calls, Cautions, Do, Ruler, type ScreenProps, Title } from "./parts";

function nameOf(row: OutboxRow, view: View): string {
  return view.people.find((person) => person.row.lookup === row.lookup)?.sheet?.patient.first_name ?? "";
}

/** Forms of the same person that still wait for answers. */
function waiting(row: OutboxRow, view: View): number {
  const person = view.people.find((each) => each.row.lookup === row.lookup);
  if (!person) return 0;
  return (person.sheet?.forms ?? []).filter((form) => isOpen(form, person, view)).length;
}

function Onward({ phone, view, t, row }: ScreenProps & { row: OutboxRow }): JSX.Element | null {
  const more = waiting(row, view);
  if (!more) return null;
  return (
    <>
      <p>{t("received_next", { n: more })}</p>
      <nav>
        <Do what="next-form" on={() => phone.go({ name: "forms" })}>
          {t("next_form")}
        </Do>
      </nav>
    </>
  );
}

export function Saved(props: ScreenProps & { row: OutboxRow }): JSX.Element {
  const { phone, view, t, row } = props;
  const onDisk = view.screen.name === "saved";
  return (
    <>
      <Ruler place={13} of={12} />
      <Title>{t(onDisk ? "saved_title" : "unsaved_title")}</Title>
      {!onDisk && <p>{t("unsaved_what")}</p>}
      <p role="status">{view.sending ? t("saved_sending") : onDisk ? t("saved_waiting") : t("offline_title")}</p>
      {!view.sending && view.held_up && <p class="soft">{t(`offline_${view.held_up}`)}</p>}
      {!view.sending && (
        <Do what="send-now" kind="plain" on={() => sendNow(phone, false)}>
          {t("send_now")}
        </Do>
      )}
      {onDisk && <p class="soft">{t("saved_close")}</p>}
      <Onward {...props} row={row} />
      <Cautions {...props} short={!!waiting(row, view)} />
    </>
  );
}

export function Received(props: ScreenProps & { row: OutboxRow }): JSX.Element {
  const { view, t, row } = props;
  const more = waiting(row, view);
  const name = nameOf(row, view);
  return (
    <>
      <Ruler place={13} of={12} />
      <Title>{t("received_title")}</Title>
      <p role="status">
        {name ? t("received_what", { name }) : t("received_no_name")} {!more && t("received_done")}
      </p>
      <Onward {...props} row={row} />
      <Cautions {...props} short={more > 0} />
    </>
  );
}

export function Refused(props: ScreenProps): JSX.Element | null {
  const { phone, view, t } = props;
  const { screen } = view;
  if (screen.name !== "refused") return null;
  const onDisk = view.outbox.some((row) => row.envelope_id === screen.row.envelope_id) && phone.world.storage.keeps !== "nothing";
  return (
    <>
      <Title>{t("refused_title")}</Title>
      <p role="alert">{t(`refused_${screen.trouble}`)}</p>
      <p>
        {t(onDisk ? "refused_kept" : "refused_lost")} {t("refused_do")}
      </p>
      <Calls {...props} />
      <nav>
        <Do what="send-now" kind="plain" busy={view.sending} on={() => sendNow(phone, true)}>
          {t("try_again")}
        </Do>
        {waiting(screen.row, view) > 0 && (
          <Do what="next-form" on={() => phone.go({ name: "forms" })}>
            {t("next_form")}
          </Do>
        )}
      </nav>
    </>
  );
}

/** The clinic's telephone numbers as links that dial, and the cautions that go with them. */
import type { JSX } from "preact";
import type { App, View } from "../app/app";
import type { Clinic } from "../form/due_sheet";
import type { Translate } from "../i18n";
import type { ScreenProps } from "./controls";

/** What a phone dials: digits and a leading plus. */
export function dial(number: string): string {
  return `tel:${number.replace(/[^\d+]/g, "")}`;
}

function emergencyWords(number: string, t: Translate): string {
  return t("caution_emergency", { phone: number || t("emergency_number") });
}

/** The clinic's numbers as links that dial. */
export function CallLinks({ view, app, t }: ScreenProps): JSX.Element {
  const clinic = clinicOf(app, view);
  return (
    <ul class="calls">
      <li>
        <a class="call" data-do="call-clinic" href={dial(clinic.phone)}>
          <span>{t("call_clinic")}</span> <b>{clinic.phone}</b>
        </a>
        {clinic.phone_hours && <small>{t("hours", { hours: clinic.phone_hours })}</small>}
      </li>
      {clinic.closed_phone && (
        <li>
          <a class="call" data-do="call-closed" href={dial(clinic.closed_phone)}>
            {t("call_closed", { phone: clinic.closed_phone })}
          </a>
        </li>
      )}
      <li>
        {clinic.emergency_number ? (
          <a class="call urgent" data-do="call-emergency" href={dial(clinic.emergency_number)}>
            {t("call_emergency", { phone: clinic.emergency_number })}
          </a>
        ) : (
          emergencyWords("", t)
        )}
      </li>
    </ul>
  );
}

/** The clinic as the page names it, its hours in the language that is shown; or else, where the page has no numbers, as a due sheet does. */
export function clinicOf(app: App, view: View): Clinic {
  const { clinic } = app.context;
  return clinic.phone ? { ...clinic, phone_hours: clinic.hours?.[view.language] ?? clinic.phone_hours } : (view.people.find((person) => person.sheet)?.sheet?.clinic ?? clinic);
}

export function Cautions({ view, app, t, short = false }: ScreenProps & { short?: boolean }): JSX.Element {
  const clinic = clinicOf(app, view);
  return (
    <section class="cautions" data-cautions>
      <p>
        {t("caution_slow")} {!short && t("caution_visits")}
      </p>
      <p>
        {clinic.emergency_number ? <a href={dial(clinic.emergency_number)}>{emergencyWords(clinic.emergency_number, t)}</a> : emergencyWords("", t)}
      </p>
      <p>{t("caution_call")}</p>
      <ul>
        <li>{t("caution_wound")}</li>
        <li>{t("caution_fever")}</li>
        <li>{t("caution_hand")}</li>
        <li>{t("caution_worse")}</li>
      </ul>
      <p class="numbers">
        <a href={dial(clinic.phone)}>{t("call_number", { phone: clinic.phone })}</a>
        {clinic.phone_hours && <small>{t("hours", { hours: clinic.phone_hours })}</small>}
      </p>
      {clinic.closed_phone && (
        <p>
          <a href={dial(clinic.closed_phone)}>{t("call_closed", { phone: clinic.closed_phone })}</a>
        </p>
      )}
    </section>
  );
}

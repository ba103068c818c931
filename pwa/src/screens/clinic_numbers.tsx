/** The clinic's telephone numbers as links that dial, and the cautions that go with them. */
import type { JSX } from "preact";
import type { App, View } from "../app/app";
import { linksOf, personShown } from "../app/people";
import { clinicSigns } from "../form/cautions";
import type { Clinic, Sheet } from "../form/due_sheet";
import type { Translate } from "../i18n";
import type { ScreenProps } from "./controls";

/**
 * What a phone dials: the first run of signs that a number is written with, so no extension ("ext 12", "#12"). The "(0)" after a country is
 * for callers at home. As `dialled` of the staff pages.
 */
export function dial(number: string): string {
  return `tel:${String(/\+?\d[\d ()./–-]{2,}/.exec(number))
    .replace(/^(\+[^(]*)\(0\)/, "$1")
    .replace(/[^\d+]/g, "")}`;
}

function emergencyCall(number: string, t: Translate): JSX.Element {
  return (
    <li>
      {number ? (
        <a class="call urgent" data-do="call-emergency" href={dial(number)}>
          {t("call_emergency", { phone: number })}
        </a>
      ) : (
        t("call_emergency", { phone: t("emergency_number") })
      )}
    </li>
  );
}

/** The clinic's numbers as links that dial; the emergency number last, or first where that is the one to call. */
export function CallLinks({ view, app, t, emergency = false }: ScreenProps & { emergency?: boolean }): JSX.Element {
  const clinic = clinicOf(app, view);
  const urgent = emergencyCall(clinic.emergency_number, t);
  return (
    <ul class={emergency ? "calls emergency" : "calls"}>
      {emergency && urgent}
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
      {!emergency && urgent}
    </ul>
  );
}

/**
 * The clinic as the due sheet names it, which is fetched at each visit; the page may be the one kept since the visit before, so its numbers
 * stand only where there is no sheet. The page has the hours in every language: they are taken from there while the sheet's are among them.
 */
export function clinicOf(app: App, view: View): Clinic {
  const page = app.context.clinic;
  const known = [personShown(view), ...view.people, view.open?.person].flatMap((person) => person?.sheet ?? []);
  const { clinic } = known[0] ?? { clinic: page };
  const { hours = {} } = page;
  const sameHours = clinic === page || Object.values(hours).includes(clinic.phone_hours);
  return { ...clinic, phone_hours: (sameHours && hours[view.language]) || clinic.phone_hours };
}

/** What is known of the person whom the screen is for, and of nobody else on this phone. */
function sheetsShown(view: View): Sheet[] {
  const person = personShown(view);
  return (person ? linksOf(person, view) : []).flatMap((each) => each.sheet ?? []);
}

/** Whom to call for what, and that nobody reads the answers right away. `short`: without what can wait for the last screen. */
export function Cautions({ view, app, t, short = false }: ScreenProps & { short?: boolean }): JSX.Element {
  const clinic = clinicOf(app, view);
  const emergency = t("caution_emergency", { phone: clinic.emergency_number || t("emergency_number") });
  return (
    <section class="cautions" data-cautions>
      <p>
        {t("caution_slow")} {!short && t("caution_visits")}
      </p>
      <p>{clinic.emergency_number ? <a href={dial(clinic.emergency_number)}>{emergency}</a> : emergency}</p>
      <ul>
        <li>{t("caution_chest")}</li>
        <li>{t("caution_cold")}</li>
        <li>{t("caution_shaking")}</li>
      </ul>
      <p>{t("caution_call")}</p>
      <ul>
        {clinicSigns(sheetsShown(view), app.today()).map((sign) => (
          <li key={sign}>{t(sign)}</li>
        ))}
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

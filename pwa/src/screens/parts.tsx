/** What several screens share. */
import type { ComponentChildren, JSX } from "preact";
import type { Phone, View } from "../app/phone";
import type { Clinic, Side } from "../form/items";
import type { T } from "../i18n";
import { marksFor, RULER } from "../marks";

export interface ScreenProps {
  phone: Phone;
  view: View;
  t: T;
}

/** What a phone dials: digits and a leading plus. */
export function dial(number: string): string {
  return `tel:${number.replace(/[^\d+]/g, "")}`;
}

/** One path for each kind of tick: a line for each would be most of what a new screen has to build. */
export function Ruler({ place, of }: { place: number; of: number }): JSX.Element {
  const { width, height, base } = RULER;
  const ticks = marksFor(place, of);
  return (
    <svg class="ruler" viewBox={`0 0 ${width} ${height}`} aria-hidden="true" focusable="false" preserveAspectRatio="none">
      {(["done", "ahead", "now"] as const).map((kind) => (
        <path key={kind} class={kind} d={ticks.filter((mark) => mark.kind === kind).map((mark) => `M${mark.x} ${mark.top}V${base - 2}`).join("")} />
      ))}
      <line class="base" x1="1" x2={width - 1} y1={base} y2={base} />
    </svg>
  );
}

/** Left is a teal circle, right a plum square, everywhere. */
export function SideMark({ side }: { side: Side }): JSX.Element | null {
  if (!side) return null;
  return (
    <svg class={`side-mark ${side}`} viewBox="0 0 14 14" aria-hidden="true" focusable="false">
      {side === "left" ? <circle cx="7" cy="7" r="6" /> : <rect x="1.5" y="1.5" width="11" height="11" />}
    </svg>
  );
}

export function sideName(side: Side, t: T): string {
  return side === "left" ? t("left_shoulder") : side === "right" ? t("right_shoulder") : t("both_parts");
}

/** Words of more than two short lines are set a little smaller where the screen is low. */
const LONG = 45;

export function Title({ children }: { children: ComponentChildren }): JSX.Element {
  const long = typeof children === "string" && children.length > LONG;
  return (
    <h1 tabIndex={-1} class={long ? "long" : undefined}>
      {children}
    </h1>
  );
}

interface DoProps {
  what: string;
  on?: () => unknown;
  kind?: "main" | "plain" | "quiet";
  busy?: boolean;
  children: ComponentChildren;
}

/** A button with its stable name in `data-do`. Without `on` it submits the form it stands in. */
export function Do({ what, on, kind = "main", busy = false, children }: DoProps): JSX.Element {
  return (
    <button type={on ? "button" : "submit"} class={kind} data-do={what} aria-disabled={busy} onClick={busy ? undefined : on}>
      {children}
    </button>
  );
}

function emergencyWords(number: string, t: T): string {
  return t("caution_emergency", { phone: number || t("emergency_number") });
}

/** The clinic's numbers as links that dial. */
export function Calls({ view, phone, t }: ScreenProps): JSX.Element {
  const clinic = clinicOf(phone, view);
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

/** The page carries the clinic's numbers and its hours in the language that is shown; a sheet brings them where the page could not. */
export function clinicOf(phone: Phone, view: View): Clinic {
  const here = phone.world.clinic;
  return here.phone ? { ...here, phone_hours: here.hours[view.language] ?? here.phone_hours } : (view.people.find((person) => person.sheet)?.sheet?.clinic ?? here);
}

export function Cautions({ view, phone, t, short = false }: ScreenProps & { short?: boolean }): JSX.Element {
  const clinic = clinicOf(phone, view);
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

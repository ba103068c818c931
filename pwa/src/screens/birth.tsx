/** The date of birth in three fields; the next field takes over when one is full. */
import type { JSX } from "preact";
import { useRef, useState } from "preact/hooks";
import { openWithBirthDate } from "../app/opening";
import { askWhoAnswers } from "../app/people";
import { type BirthFault, plainDigits, readBirthDate } from "../form/check";
import type { Person } from "../store/people";
import { ActionButton, type ScreenProps, Title } from "./controls";

const FIELDS = [
  { name: "day", length: 2 },
  { name: "month", length: 2 },
  { name: "year", length: 4 },
] as const;

const FIELD_OF: Record<BirthFault, "day" | "month" | "year"> = {
  day: "day",
  month: "month",
  year: "year",
  no_such_day: "day",
  future: "year",
  too_old: "year",
};

function nameOf(person: Person | undefined): string {
  return person?.sheet?.patient.first_name ?? "";
}

/** A first digit that no two-digit number of this field begins with: 4 in a day, 2 in a month. */
function isFull(name: "day" | "month" | "year", text: string): boolean {
  if (name === "year") return text.length === 4;
  return text.length === 2 || (text.length === 1 && Number(text) > (name === "day" ? 3 : 1));
}

/** `person`: one of several whom this phone knows, so that a wrong date can be told here. */
export function Birth({ app, view, t, person }: ScreenProps & { person: Person | undefined }): JSX.Element {
  const [typed, setTyped] = useState({ day: "", month: "", year: "" });
  const [fault, setFault] = useState<BirthFault | "other" | null>(null);
  const inputs = useRef<Partial<Record<string, HTMLInputElement | null>>>({});

  const type = (at: number, text: string): void => {
    const field = FIELDS[at];
    if (!field) return;
    const digits = plainDigits(text).replace(/\D/g, "").slice(0, field.length);
    setTyped({ ...typed, [field.name]: digits });
    setFault(null);
    const following = FIELDS[at + 1];
    if (following && digits.length > typed[field.name].length && isFull(field.name, digits)) inputs.current[following.name]?.focus();
  };
  const submit = (event: Event): void => {
    event.preventDefault();
    if (view.busy) return;
    const read = readBirthDate(typed.day, typed.month, typed.year, app.today());
    if ("born" in read) return void openWithBirthDate(app, read.born).then((right) => right || setFault("other"));
    setFault(read.fault);
    inputs.current[FIELD_OF[read.fault]]?.focus();
  };
  return (
    <form onSubmit={submit} autocomplete="off" noValidate>
      <Title>{t("birth_title")}</Title>
      <p id="birth-why" class="soft">
        {person ? t("birth_shared", { name: nameOf(person) }) : t("birth_why")}
      </p>
      <div class="birth" role="group" aria-label={t("birth_title")} aria-describedby="birth-why">
        {FIELDS.map((field, at) => (
          <label key={field.name} class={`field ${field.name}`}>
            <span>{t(field.name)}</span>
            <input
              ref={(element) => {
                inputs.current[field.name] = element;
              }}
              type="text"
              inputMode="numeric"
              autocomplete="off"
              name={`b-${field.name}`}
              value={typed[field.name]}
              aria-invalid={fault !== null && fault !== "other" && FIELD_OF[fault] === field.name}
              aria-describedby="birth-fault"
              onInput={(event) => type(at, event.currentTarget.value)}
            />
          </label>
        ))}
      </div>
      <p id="birth-fault" class="fault" role="alert">
        {fault && t(`birth_${fault}`, { name: nameOf(person) })}
      </p>
      <nav>
        {person && (
          <ActionButton name="other-person" kind="plain" onPress={() => askWhoAnswers(app)}>
            {t("back")}
          </ActionButton>
        )}
        <ActionButton name="open" busy={view.busy}>
          {t(view.busy ? "opening" : "open_form")}
        </ActionButton>
      </nav>
    </form>
  );
}

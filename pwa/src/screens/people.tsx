/** Several people on one phone: who answers; and once somebody is forgotten on it. */
import type { JSX } from "preact";
import { choosePerson, distinctPeople } from "../app/people";
import { ActionButton, Ruler, type ScreenProps, Title } from "./controls";

export function People({ app, view, t }: ScreenProps): JSX.Element {
  return (
    <>
      <Ruler place={0} of={12} />
      <Title>{t("forms_who")}</Title>
      <ul class="people">
        {distinctPeople(view.people).map((person) => (
          <li key={person.row.lookup}>
            <ActionButton name="person" kind="plain" onPress={() => choosePerson(app, person)}>
              {person.sheet?.patient.first_name ?? "–"}
            </ActionButton>
          </li>
        ))}
      </ul>
    </>
  );
}

export function Forgotten({ t }: ScreenProps): JSX.Element {
  return (
    <>
      <Ruler place={0} of={12} />
      <Title>{t("forgotten_title")}</Title>
      <p>{t("forgotten_what")}</p>
    </>
  );
}

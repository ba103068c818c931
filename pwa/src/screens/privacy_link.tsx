/** The quiet way to the clinic's own texts, where the sheet brings some; and that a screen could not be loaded. */
import type { JSX } from "preact";
import { readClinicTexts } from "../app/reading";
import { clinicTexts } from "../form/clinic_texts";
import type { Person } from "../store/people";
import { ActionButton, type ScreenProps } from "./controls";

interface LinkProps extends ScreenProps {
  person: Person | undefined;
  kind?: "quiet" | "plain";
  words?: "privacy" | "privacy_short";
}

export function PrivacyLink({ app, view, t, person, kind = "quiet", words = "privacy" }: LinkProps): JSX.Element {
  return (
    <>
      {person && clinicTexts(person.sheet).length > 0 && (
        <ActionButton name="privacy" kind={kind} onPress={() => readClinicTexts(app, person)}>
          {t(words)}
        </ActionButton>
      )}
      {view.note === "not_loaded" && (
        <p class="fault" role="alert">
          {t("notice_failed")}
        </p>
      )}
    </>
  );
}

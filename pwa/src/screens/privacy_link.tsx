/** The quiet way to the clinic's own texts; nothing where the sheet brings none. */
import type { JSX } from "preact";
import { readClinicTexts } from "../app/reading";
import { clinicTexts } from "../form/clinic_texts";
import type { Person } from "../store/people";
import { ActionButton, type ScreenProps } from "./controls";

export function PrivacyLink({ app, view, t, person, kind = "quiet" }: ScreenProps & { person: Person | undefined; kind?: "quiet" | "plain" }): JSX.Element | null {
  if (!person || !clinicTexts(person.sheet).length) return null;
  return (
    <>
      <ActionButton name="privacy" kind={kind} onPress={() => readClinicTexts(app, person)}>
        {t("privacy")}
      </ActionButton>
      {view.note === "not_loaded" && (
        <p class="fault" role="alert">
          {t("notice_failed")}
        </p>
      )}
    </>
  );
}

/** The menu inside a form, and the screen that says whether the page may be closed. */
import type { JSX } from "preact";
import { goBack, goToList, stopForNow } from "../app/answering";
import { askWhatIsWrong } from "../app/reading";
import { clinicOf, dial } from "./clinic_numbers";
import { ActionButton, type ScreenProps, Title } from "./controls";
import { PrivacyLink } from "./privacy_link";
import { Languages } from "./shell";

function tellWrong({ app, view }: ScreenProps): void {
  const { open, screen } = view;
  if (open) void askWhatIsWrong(app, open.person, open.form.form_id, "back" in screen ? screen.back : screen);
}

export function Menu(props: ScreenProps): JSX.Element {
  const { app, view, t } = props;
  const { phone } = clinicOf(app, view);
  return (
    <>
      <Title>{t("menu")}</Title>
      <ul class="menu-list">
        <li>
          <ActionButton name="to-list" kind="plain" onPress={() => goToList(app)}>
            {t("menu_list")}
          </ActionButton>
        </li>
        <li>
          <ActionButton name="stop" kind="plain" onPress={() => stopForNow(app)}>
            {t("menu_stop")}
          </ActionButton>
        </li>
        {view.open && (
          <li>
            <ActionButton name="wrong" kind="plain" onPress={() => tellWrong(props)}>
              {t("wrong")}
            </ActionButton>
          </li>
        )}
        {view.open && (
          <li>
            <PrivacyLink {...props} person={view.open.person} kind="plain" />
          </li>
        )}
        {phone && (
          <li>
            <a class="plain" data-do="help" href={dial(phone)}>
              {t("help", { phone })}
            </a>
          </li>
        )}
      </ul>
      <Languages {...props} />
      <nav>
        <ActionButton name="close-menu" onPress={() => goBack(app)}>
          {t("menu_close")}
        </ActionButton>
      </nav>
    </>
  );
}

export function Stopped({ app, view, t }: ScreenProps): JSX.Element {
  const safe = view.draft_status !== "unsaved" && app.context.deviceStore.persistence === "all";
  return (
    <>
      <Title>{t(safe ? "stopped_title" : "stopped_unsafe_title")}</Title>
      <p role="status">{t(safe ? "stopped_safe" : "stopped_unsafe")}</p>
      {safe && <p>{t("stopped_again")}</p>}
      <nav>
        <ActionButton name="close-menu" onPress={() => goBack(app)}>
          {t("menu_close")}
        </ActionButton>
      </nav>
    </>
  );
}

/** The clinic's own texts: its privacy notice and what people consent to. Loaded late, so without hooks, and what changes the app is passed in. */
import type { JSX } from "preact";
import type { Screen } from "../app/app";
import { type ClinicText, languageOf } from "../form/clinic_texts";
import { direction, LANGUAGE_NAMES, longDate } from "../i18n";
import { ActionButton, type ScreenProps, Title } from "./controls";

type Props<Name = "privacy" | "privacy_text"> = ScreenProps & { screen: Extract<Screen, { name: Name }>; onBack: () => unknown };

/** Which version it is, and of a consent when it was given. */
function Standing({ text, view, t }: Pick<ScreenProps, "view" | "t"> & { text: ClinicText }): JSX.Element {
  const day = (on: string): string => longDate(on, view.language);
  return (
    <>
      <small>{t("text_version", { version: text.version, date: day(text.since) })}</small>
      {text.given_on && <small>{t("text_agreed", { date: day(text.given_on) })}</small>}
    </>
  );
}

function Choice({ app, view, t, screen }: Props<"privacy">): JSX.Element {
  return (
    <>
      <Title>{t("privacy")}</Title>
      <ul class="menu-list clinic-texts">
        {screen.texts.map((text, at) => {
          const language = languageOf(text, view.language, screen.own);
          return (
            <li key={at}>
              <ActionButton name={`text-${text.kind}`} kind="plain" onPress={() => app.go({ name: "privacy_text", text, own: screen.own, back: screen })}>
                <span lang={language} dir={direction(language)}>
                  {text.texts[language]?.title}
                </span>
                <Standing text={text} view={view} t={t} />
              </ActionButton>
            </li>
          );
        })}
      </ul>
    </>
  );
}

/** In the words of the app's language; the oldest browsers know no names. */
function nameOfLanguage(language: string, within: string): string {
  try {
    return new Intl.DisplayNames([within], { type: "language" }).of(language) ?? language;
  } catch {
    return LANGUAGE_NAMES[language] ?? language;
  }
}

function OneText({ view, t, screen }: Props<"privacy_text">): JSX.Element {
  const { text, own } = screen;
  const language = languageOf(text, view.language, own);
  const { title, paragraphs } = text.texts[language] ?? { title: "", paragraphs: [] };
  return (
    <>
      <div lang={language} dir={direction(language)}>
        <Title>{title}</Title>
      </div>
      <Standing text={text} view={view} t={t} />
      {!text.texts[view.language] && <p class="note">{t("text_language", { language: nameOfLanguage(language, view.language) })}</p>}
      <article class="clinic-text" lang={language} dir={direction(language)}>
        {paragraphs.map((each, at) => (each.heading ? <h2 key={at}>{each.text}</h2> : <p key={at}>{each.text}</p>))}
      </article>
    </>
  );
}

export function ClinicTexts(props: Props): JSX.Element {
  const { t, screen, onBack } = props;
  return (
    <>
      {screen.name === "privacy" ? <Choice {...props} screen={screen} /> : <OneText {...props} screen={screen} />}
      <nav>
        <ActionButton name="back" kind="plain" onPress={onBack}>
          {t("back")}
        </ActionButton>
      </nav>
    </>
  );
}

/** One item, one screen. */
import type { JSX } from "preact";
import { useState } from "preact/hooks";
import { answerItem, answerNotApplicable, clearAnswer, declineItem, goBack, goToNext, hasValidAnswer, lastDay } from "../app/answering";
import type { OpenForm } from "../app/app";
import type { Answer, ChoiceItem, Item, ItemText } from "../form/due_sheet";
import { progress, type Step } from "../form/flow";
import { textFor } from "../form/payload";
import { sideToName } from "../form/side";
import { direction, fill } from "../i18n";
import type { MessageKey } from "../i18n/en";
import { ActionButton, Ruler, type ScreenProps, SideMark, sideName, Title } from "./controls";
import { type EntryProps, IntegerEntry, MonthEntry, ScaleEntry, TextEntry } from "./entries";
import { type Option, Options } from "./options";
import { useKeyboard } from "./keyboard";
import { PrivacyLink } from "./privacy_link";

const MISSING: Record<Step["item"]["type"], MessageKey> = {
  choice: "first_answer",
  scale: "first_answer",
  integer: "number_missing",
  month: "month_missing",
  text: "text_missing",
};

/** So many letters of side, recall period, count and menu stand in one line of a small phone, in wide letters; with more, the period has its own. */
const ONE_LINE = 29;

type HeaderProps = ScreenProps & { open: OpenForm; recall: string; place: number; of: number };

export function FormHeader({ app, view, open, recall, place, of, t }: HeaderProps): JSX.Element {
  const side = sideName(open.form.side, t);
  const count = t("place_short", { place, of });
  return (
    <>
      <header class="head">
        <b class={`side ${open.form.side ?? ""}`}>
          <SideMark side={open.form.side} /> {side}
        </b>
        {recall && (
          <span class={(side + recall + count + t("menu")).length > ONE_LINE ? "recall own-line" : "recall"} dir="auto">
            {recall}
          </span>
        )}
        {place <= of && (
          <span class="count">
            <span class="hidden">{t("place", { place, of })}</span>
            <span aria-hidden="true">{count}</span>
          </span>
        )}
        <button type="button" class="quiet menu" data-do="menu" onClick={() => app.go({ name: "menu", back: view.screen })}>
          {t("menu")}
        </button>
      </header>
      <Ruler place={place} of={of} />
    </>
  );
}

function Entry({ item, ...entry }: EntryProps & { item: Exclude<Item, ChoiceItem> }): JSX.Element {
  switch (item.type) {
    case "scale":
      return <ScaleEntry {...entry} item={item} />;
    case "integer":
      return <IntegerEntry {...entry} item={item} />;
    case "month":
      return <MonthEntry {...entry} />;
    case "text":
      return <TextEntry {...entry} item={item} />;
  }
}

function Choice({ item, name, text, answer, onPick, more }: EntryProps & { item: ChoiceItem; more: Option[] }): JSX.Element {
  const chosen = answer?.state === "answered" ? answer.value : null;
  const options = item.codes.map((code) => ({
    code: String(code),
    label: text.options?.[String(code)] ?? String(code),
    chosen: code === chosen,
    choose: () => onPick(code),
  }));
  const all = [...options, ...more];
  return <Options name={name} options={all} tight={all.length > 3} />;
}

type ItemProps = ScreenProps & { open: OpenForm; step: Step };

/** The words of an item with the side filled in, and the language they are in. */
function wordsOf({ view, t, open, step }: ItemProps): { language: string; recall: string; text: ItemText; aboutSide: string } {
  const { language, text: words } = textFor(open.form, open.sheet, step.instrument, view.language);
  const gaps = open.form.side ? { side: t(open.form.side) } : {};
  const raw = words.items[step.item.item] ?? { stem: step.item.item };
  const side = sideToName(open.form.side, open.sheet.instruments[step.instrument], raw);
  const aboutSide = side ? t(`about_${side}`) : "";
  return { language, aboutSide, recall: words.recall, text: { ...raw, stem: fill(raw.stem, gaps), hint: fill(raw.hint ?? "", gaps) } };
}

/** The answer's controls, and the row for "does not apply" where the item offers it. */
function Controls({ app, view, t, step, text, answer }: ItemProps & { text: ItemText; answer: Answer | undefined }): JSX.Element {
  const not_applicable: Option = {
    code: "na",
    label: text.not_applicable || t("not_applicable"),
    chosen: answer?.state === "not_applicable",
    choose: () => void answerNotApplicable(app, step.key),
  };
  const more = step.item.not_applicable ? [not_applicable] : [];
  const entry: EntryProps = {
    name: step.key,
    text,
    answer,
    language: view.language,
    today: lastDay(app),
    t,
    onPick: (value) => void answerItem(app, step.key, value),
    onUnpick: () => void clearAnswer(app, step.key),
  };
  if (step.item.type === "choice") return <Choice {...entry} item={step.item} more={more} />;
  return (
    <>
      <Entry {...entry} item={step.item} />
      {more.length > 0 && <Options name={step.key} options={more} tight />}
    </>
  );
}

export function ItemScreen(props: ItemProps): JSX.Element {
  const { app, view, t, open, step } = props;
  const [attempted, setAttempted] = useState(false);
  const answer = open.draft.answers[step.key];
  const { language, recall, text, aboutSide } = wordsOf(props);
  const { place, of } = progress(step.key, open.steps);
  const onward = (): void => {
    if (hasValidAnswer(app, step)) void goToNext(app, step);
    else setAttempted(true);
  };
  useKeyboard(onward);
  const missing = attempted && !hasValidAnswer(app, step);
  const submit = (event: Event): void => {
    event.preventDefault();
    onward();
  };
  return (
    <form class={`item-form type-${step.item.type}`} autocomplete="off" noValidate onSubmit={submit}>
      <FormHeader {...props} recall={recall} place={place} of={of} />
      <fieldset aria-describedby="item-hint item-fault" lang={language} dir={direction(language)}>
        <legend>
          {aboutSide && (
            <span class="soft more" lang={view.language} dir="auto">
              {aboutSide}
            </span>
          )}
          <Title>{text.stem}</Title>
        </legend>
        {step.item.asked_if && (
          <p class="soft more" lang={view.language} dir="auto">
            {t("place_more")}
          </p>
        )}
        <p id="item-hint" class="hint">
          {text.hint}
        </p>
        <Controls {...props} text={text} answer={answer} />
      </fieldset>
      <p id="item-fault" class="fault" role="alert">
        {missing && faultWords(step, t)}
      </p>
      {answer?.state === "declined" && <p class="soft">{t("declined")}</p>}
      <div class="quiet-row">
        {answer?.state !== "declined" && (
          <button type="button" class="quiet decline" data-do="decline" onClick={() => void declineItem(app, step.key)}>
            {t("decline")}
          </button>
        )}
        {step === open.steps[0] && <PrivacyLink {...props} person={open.person} words="privacy_short" />}
      </div>
      <nav>
        <ActionButton name="back" kind="plain" onPress={() => goBack(app)}>
          {t("back")}
        </ActionButton>
        <ActionButton name="next">{t("next")}</ActionButton>
      </nav>
    </form>
  );
}

/** A number that does not fit is never an answer, so the screen says both what is missing and what fits. */
function faultWords(step: Step, t: ScreenProps["t"]): string {
  const { item } = step;
  const messages = [t(MISSING[item.type])];
  if (item.type === "integer") messages.push(t("number_range", { min: item.min, max: item.max }));
  if (item.type === "integer" && item.step) messages.push(t("number_step", { step: item.step }));
  return messages.join(" ");
}

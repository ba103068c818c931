/** After the last item: who answered, the review, and the call-now page. */
import type { JSX } from "preact";
import { useState } from "preact/hooks";
import { goBack, goToItem, goToReview, goToWho, markWarningRead, setAnsweredBy } from "../app/answering";
import type { OpenForm } from "../app/app";
import { finishForm } from "../app/finishing";
import { askedSteps, isEmergency, questionCount, type Step, warningAnswers } from "../form/flow";
import { type AnsweredBy, textFor } from "../form/payload";
import { direction, fill, longMonth } from "../i18n";
import { CallLinks, clinicOf } from "./clinic_numbers";
import { ActionButton, type ScreenProps, Title } from "./controls";
import { Options } from "./options";
import { FormHeader } from "./item";
import { useKeyboard } from "./keyboard";

type OpenProps = ScreenProps & { open: OpenForm };

/** Whom to call, and for which answers of a form. */
export function CallNow(props: OpenProps): JSX.Element {
  const { app, view, t, open } = props;
  const named = warningAnswers(open);
  const emergency = named.some((step) => isEmergency(step, open.draft.answers[step.key]));
  const phone = clinicOf(app, view).emergency_number || t("emergency_number");
  return (
    <div class="warning">
      <Title>{t(emergency ? "warning_emergency_title" : "warning_title")}</Title>
      <p role="alert">{emergency ? t("warning_emergency_calls", { phone }) : t("warning_calls")}</p>
      <CallLinks {...props} emergency={emergency} />
      <p class="soft">{t("warning_said")}</p>
      <ul class="said">
        {named.map((step) => (
          <li key={step.key} data-said={step.key}>
            <Said {...props} step={step} />
          </li>
        ))}
      </ul>
    </div>
  );
}

/** The call-now page. */
export function Warning(props: OpenProps & { itemKey: string }): JSX.Element {
  const { app, t, itemKey } = props;
  return (
    <>
      <CallNow {...props} />
      <nav>
        <ActionButton name="back" kind="plain" onPress={() => goBack(app)}>
          {t("back")}
        </ActionButton>
        <ActionButton name="continue" kind="plain" onPress={() => markWarningRead(app, itemKey)}>
          {t("warning_go_on")}
        </ActionButton>
      </nav>
    </>
  );
}

const WHO: AnsweredBy[] = ["patient", "patient_with_help", "someone_else"];

export function Who(props: OpenProps): JSX.Element {
  const { app, t, open } = props;
  const [attempted, setAttempted] = useState(false);
  const chosen = open.draft.answered_by;
  const name = open.sheet.patient.first_name;
  const onward = (): void => {
    if (chosen) void goToReview(app);
    else setAttempted(true);
  };
  useKeyboard(onward);
  const options = WHO.map((who) => ({
    code: who,
    label: t(`who_${who}`, { name }),
    chosen: who === chosen,
    choose: () => void setAnsweredBy(app, who),
  }));
  const of = questionCount(open.steps);
  return (
    <form
      autocomplete="off"
      onSubmit={(event) => {
        event.preventDefault();
        onward();
      }}
    >
      <FormHeader {...props} recall="" place={of + 1} of={of} />
      <fieldset aria-describedby="item-fault">
        <legend>
          <Title>{t("who_title")}</Title>
        </legend>
        <p class="hint" />
        <Options name="who" options={options} />
      </fieldset>
      <p id="item-fault" class="fault" role="alert">
        {attempted && !chosen && t("who_first")}
      </p>
      <nav>
        <ActionButton name="back" kind="plain" onPress={() => goBack(app)}>
          {t("back")}
        </ActionButton>
        <ActionButton name="next">{t("next")}</ActionButton>
      </nav>
    </form>
  );
}

/** An answer in the words that were on its screen. */
function answerWords(open: OpenForm, step: Step, language: string, t: ScreenProps["t"]): string {
  const answer = open.draft.answers[step.key];
  const text = textFor(open.form, open.sheet, step.instrument, language).text.items[step.item.item];
  if (!answer) return t("review_open");
  if (answer.state !== "answered") return answer.state === "declined" ? t("review_declined") : text?.not_applicable || t("review_not_applicable");
  const { item } = step;
  if (item.type === "choice") return text?.options?.[String(answer.value)] ?? String(answer.value);
  if (item.type === "month") return longMonth(String(answer.value), language);
  if (item.type === "integer" && item.unit === "percent") return `${answer.value} %`;
  if (item.type === "integer" && item.unit === "weeks") return `${answer.value} ${t("weeks")}`;
  return String(answer.value);
}

/** The words of a question with the side filled in, and the language they are in. */
function stemOf({ view, t, open }: OpenProps, step: Step): { stem: string; language: string } {
  const { text, language } = textFor(open.form, open.sheet, step.instrument, view.language);
  return { stem: fill(text.items[step.item.item]?.stem ?? "", open.form.side ? { side: t(open.form.side) } : {}), language };
}

/** A question and what was answered. */
function Said(props: OpenProps & { step: Step }): JSX.Element {
  const { view, t, open, step } = props;
  const { stem, language } = stemOf(props, step);
  return (
    <div dir={direction(language)}>
      <span class="stem" lang={language} dir={direction(language)}>
        {stem}
      </span>
      <b lang={language}>
        <bdi>{answerWords(open, step, view.language, t)}</bdi>
      </b>
    </div>
  );
}

function ReviewRow(props: OpenProps & { step: Step }): JSX.Element {
  const { app, t, open, step } = props;
  const { stem } = stemOf(props, step);
  const unanswered = !open.draft.answers[step.key];
  return (
    <li data-answer={step.key} class={unanswered ? "open" : ""}>
      <Said {...props} />
      <button type="button" class="quiet" data-do="change" data-change={step.key} aria-label={`${t("review_change")}: ${stem}`} onClick={() => void goToItem(app, step.key)}>
        {t("review_change")}
      </button>
    </li>
  );
}

export function Review(props: OpenProps): JSX.Element {
  const { app, view, t, open } = props;
  const steps = askedSteps(open.steps, open.draft.answers);
  const of = questionCount(open.steps);
  const failed = view.note === "seal_failed" || view.note === "seal_failed_newer" ? view.note : null;
  const name = open.sheet.patient.first_name;
  return (
    <>
      <FormHeader {...props} recall="" place={of + 1} of={of} />
      <Title>{t("review_title")}</Title>
      <p class="hint">{t("review_hint")}</p>
      <ul class="review">
        {steps.map((step) => (
          <ReviewRow key={step.key} {...props} step={step} />
        ))}
        <li data-answer="who">
          <div>
            <span class="stem">{t("review_who")}</span>
            <b>{open.draft.answered_by ? t(`who_${open.draft.answered_by}`, { name }) : t("review_open")}</b>
          </div>
          <button type="button" class="quiet" data-do="change" data-change="who" aria-label={`${t("review_change")}: ${t("review_who")}`} onClick={() => void goToWho(app)}>
            {t("review_change")}
          </button>
        </li>
      </ul>
      <p class="fault" role="alert">
        {failed && t(failed)}
      </p>
      <nav>
        <ActionButton name="back" kind="plain" onPress={() => goBack(app)}>
          {t("back")}
        </ActionButton>
        <ActionButton name="send" busy={view.busy} onPress={() => finishForm(app)}>
          {t(view.busy ? "sending" : "send")}
        </ActionButton>
      </nav>
    </>
  );
}

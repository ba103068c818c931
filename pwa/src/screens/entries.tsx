/** The ways to give an answer, one for each type of item. */
import type { JSX } from "preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { faultOf, readInteger, typedDigits } from "../form/check";
import type { Answer, IntegerItem, ItemText, ScaleItem, TextItem, Value } from "../form/due_sheet";
import { longMonth, monthNames, type Translate } from "../i18n";

export interface EntryProps {
  name: string;
  text: ItemText;
  answer: Answer | undefined;
  language: string;
  today: string;
  t: Translate;
  onPick(value: Value): void;
  onUnpick(): void;
}

/** Every whole number as a button of one size; the ends are named with their number. */
export function ScaleEntry({ item, name, text, answer, t, onPick }: EntryProps & { item: ScaleItem }): JSX.Element {
  const values = Array.from({ length: item.max - item.min + 1 }, (_, at) => item.min + at);
  const chosen = answer?.state === "answered" ? answer.value : null;
  return (
    <>
      {text.low && <p class="end">{t("end_label", { value: item.min, label: text.low })}</p>}
      <div class="scale">
        {values.map((value) => (
          <label key={value} class={value === chosen ? "cell on" : "cell"} data-code={value}>
            <input type="radio" name={name} value={value} checked={value === chosen} autocomplete="off" onChange={() => onPick(value)} />
            <span>{value}</span>
          </label>
        ))}
      </div>
      {text.high && <p class="end">{t("end_label", { value: item.max, label: text.high })}</p>}
    </>
  );
}

function unitWord(unit: string | undefined, t: Translate): string {
  return unit === "percent" ? "%" : unit === "weeks" ? t("weeks") : (unit ?? "");
}

/** A number by digit pad, keyboard, or one up and one down. Nothing to drag. */
export function IntegerEntry({ item, text, answer, today, t, onPick, onUnpick }: EntryProps & { item: IntegerItem }): JSX.Element {
  const [typed, setTyped] = useState(answer?.state === "answered" ? String(answer.value) : "");
  useEffect(() => {
    if (answer && answer.state !== "answered") setTyped("");
  }, [answer?.state]);
  const untouched = useRef(true);
  const take = (whole: string, added: string | null = null): void => {
    const digits = typedDigits(whole, added, untouched.current, item.max);
    untouched.current = false;
    setTyped(digits);
    const value = readInteger(digits);
    if (value !== null && faultOf(item, value, today) === null) onPick(value);
    else onUnpick();
  };
  const value = readInteger(typed);
  const step = item.step ?? 1;
  const move = (by: number): void => {
    if (value !== null) take(String(Math.min(item.max, Math.max(item.min, value + by))));
  };
  const unit = unitWord(item.unit, t);
  return (
    <div class="number">
      {text.low && <p class="end">{t("end_label", { value: item.min, label: text.low })}</p>}
      {text.high && <p class="end">{t("end_label", { value: item.max, label: text.high })}</p>}
      <div class="display amount">
        <label>
          <input
            type="text"
            inputMode="none"
            autocomplete="off"
            name="number"
            aria-label={`${text.stem} ${item.unit === "percent" ? t("percent") : unit}`}
            aria-describedby="item-fault"
            value={typed}
            onInput={(event) => take(event.currentTarget.value, (event as InputEvent).data)}
          />
          <span aria-hidden="true">{unit}</span>
        </label>
        <button type="button" class="wipe" data-do="delete-digit" aria-label={t("delete_digit")} onClick={() => take(typed.slice(0, -1))}>
          ⌫
        </button>
        <span class="steps">
          <button type="button" data-do="less" aria-label={t("less")} aria-disabled={value === null} onClick={() => move(-step)}>
            −
          </button>
          <button type="button" data-do="more" aria-label={t("more")} aria-disabled={value === null} onClick={() => move(step)}>
            +
          </button>
        </span>
      </div>
      <Pad label={t("pad")} onDigit={(digit) => take(typed + digit, digit)} />
      <p class="hidden" role="status">
        {typed && `${typed} ${item.unit === "percent" ? t("percent") : unit}`}
      </p>
    </div>
  );
}

/** Two rows of digits in the order of a keyboard. */
function Pad({ label, onDigit }: { label: string; onDigit(digit: string): void }): JSX.Element {
  return (
    <div class="pad" role="group" aria-label={label}>
      {["1", "2", "3", "4", "5", "6", "7", "8", "9", "0"].map((digit) => (
        <button key={digit} type="button" data-digit={digit} onClick={() => onDigit(digit)}>
          {digit}
        </button>
      ))}
    </div>
  );
}

/** The year with one button each way, the month as twelve buttons. */
export function MonthEntry({ name, answer, language, today, t, onPick }: EntryProps): JSX.Element {
  const chosen = answer?.state === "answered" ? String(answer.value) : null;
  const [year, setYear] = useState(Number((chosen ?? today).slice(0, 4)));
  const thisYear = Number(today.slice(0, 4));
  const whole = monthNames(language, "long");
  const written = (month: number, of = year): string => `${of}-${String(month + 1).padStart(2, "0")}`;
  const turn = (by: number): void => setYear(Math.min(thisYear, Math.max(thisYear - 125, year + by)));
  return (
    <div class="month">
      <div class="display">
        <button type="button" data-do="year-before" aria-label={t("year_before")} onClick={() => turn(-1)}>
          −
        </button>
        <output aria-live="polite">{year}</output>
        <button type="button" data-do="year-after" aria-label={t("year_after")} aria-disabled={year >= thisYear} onClick={() => turn(1)}>
          +
        </button>
      </div>
      <div class="months">
        {monthNames(language).map((label, month) => {
          const value = written(month);
          const ahead = value > today.slice(0, 7);
          return (
            <label key={value} class={value === chosen ? "cell on" : ahead ? "cell off" : "cell"} data-code={value}>
              <input type="radio" name={name} value={value} checked={value === chosen} disabled={ahead} autocomplete="off" aria-label={`${whole[month]} ${year}`} onChange={() => onPick(value)} />
              <span>{label}</span>
            </label>
          );
        })}
      </div>
      <p class="end" aria-live="polite">
        {chosen && longMonth(chosen, language)}
      </p>
    </div>
  );
}

/** The number of characters left is shown from here down. */
const SHOW_LEFT_FROM = 20;

/**
 * Free text. `autocomplete=off` keeps the browser from writing it into its own files of open pages and past entries.
 * Each letter goes to the draft, so that the page never calls something saved that is only typed.
 */
export function TextEntry({ item, text, answer, language, t, onPick, onUnpick }: EntryProps & { item: TextItem }): JSX.Element {
  const [typed, setTyped] = useState(answer?.state === "answered" ? String(answer.value) : "");
  const type = (value: string): void => {
    setTyped(value);
    if (value.trim()) onPick(value.trim());
    else onUnpick();
  };
  const left = item.max_length - typed.length;
  return (
    <label class="field">
      <textarea
        rows={3}
        name="text"
        autocomplete="off"
        spellcheck={false}
        maxLength={item.max_length}
        aria-label={text.stem}
        aria-describedby="item-fault item-left"
        value={typed}
        onInput={(event) => type(event.currentTarget.value)}
      />
      <small id="item-left" lang={language} dir="auto">{item.identifying && t("identifying")} {left <= SHOW_LEFT_FROM && t("text_left", { n: left })}</small>
    </label>
  );
}

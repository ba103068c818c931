/** The screens before the questions: start, a link that is mistyped or missing, no network, nothing due. */
import type { JSX } from "preact";
import { useState } from "preact/hooks";
import type { Screen } from "../app/app";
import { begin, enterCode, MOST_TRIES, tryAgain } from "../app/opening";
import { personShown } from "../app/people";
import { askWhatIsWrong } from "../app/reading";
import type { Translate } from "../i18n";
import { codeFromAddress, groupsOf, groupsToCheck, normalizeCode, type TokenFault } from "../link/token";
import { CallLinks, Cautions } from "./clinic_numbers";
import { ActionButton, Ruler, type ScreenProps, Title } from "./controls";
import { PrivacyLink } from "./privacy_link";

export function Start(props: ScreenProps): JSX.Element {
  const { app, t } = props;
  return (
    <>
      <Ruler place={1} of={12} />
      <Title>{t("start_title")}</Title>
      <p>{t("start_how")}</p>
      <Cautions {...props} short />
      <nav>
        <ActionButton name="begin" onPress={() => begin(app)}>
          {t("begin")}
        </ActionButton>
      </nav>
    </>
  );
}

export function Mistyped({ app, view, t }: ScreenProps): JSX.Element {
  const fault = view.screen.name === "mistyped" ? view.screen.fault : "check";
  return (
    <>
      <Title>{t("mistyped_title")}</Title>
      <p>{t(`mistyped_${fault}`)}</p>
      <p>{t("mistyped_do")}</p>
      <nav>
        <ActionButton name="code" onPress={() => app.go({ name: "code" })}>
          {t("correct_code")}
        </ActionButton>
      </nav>
    </>
  );
}

export function NoLink({ app, t }: ScreenProps): JSX.Element {
  return (
    <>
      <Ruler place={0} of={12} />
      <Title>{t("nolink_title")}</Title>
      <p>{t("nolink_what")}</p>
      <p>{t("nolink_do")}</p>
      <p class="soft">{t("nolink_again")}</p>
      <nav>
        <ActionButton name="code" kind="plain" onPress={() => app.go({ name: "code" })}>
          {t("type_code")}
        </ActionButton>
      </nav>
    </>
  );
}

/** What is wrong with a typed code, and in which groups as far as that can be known. */
function codeFaultWords(typed: string, fault: TokenFault, t: Translate): string {
  const groups = groupsToCheck(typed);
  const count = normalizeCode(typed).length;
  if (fault === "length") return t(count < 28 ? "code_short" : "code_long", { n: Math.abs(28 - count) });
  const which = groups.map((n) => `${n} (${groupsOf(normalizeCode(typed))[n - 1] ?? ""})`).join(", ");
  if (!groups.length) return t("code_unknown_group");
  return t(fault === "alphabet" ? "code_wrong_group" : "code_likely_group", { groups: which });
}

/** Written in groups of four while the cursor stands at the end; in the middle it is left as it is. */
function inGroups(field: HTMLTextAreaElement): string {
  const typed = field.value;
  const code = codeFromAddress(typed);
  const atEnd = field.selectionStart === typed.length;
  return atEnd ? groupsOf(normalizeCode(code)).join(" ") : typed;
}

export function Code({ app, t }: ScreenProps): JSX.Element {
  const [typed, setTyped] = useState(app.typedCode);
  const [fault, setFault] = useState<TokenFault | null>(null);
  const type = (text: string): void => {
    app.typedCode = text;
    setTyped(text);
    setFault(null);
  };
  const submit = (event: Event): void => {
    event.preventDefault();
    setFault(enterCode(app, typed));
  };
  return (
    <form onSubmit={submit} autocomplete="off">
      <Title>{t("code_title")}</Title>
      <p id="code-hint">{t("code_hint")}</p>
      <label class="field code">
        <span>{t("code_label")}</span>
        <textarea
          rows={2}
          name="code"
          autocomplete="off"
          autocapitalize="characters"
          spellcheck={false}
          aria-describedby="code-hint code-count code-fault"
          aria-invalid={fault !== null}
          value={typed}
          onInput={(event) => type(inGroups(event.currentTarget))}
          onKeyDown={(event) => event.key === "Enter" && submit(event)}
        />
      </label>
      <p id="code-count" class="soft" aria-live="polite">
        {t("code_count", { n: normalizeCode(codeFromAddress(typed)).length })}
      </p>
      <p id="code-fault" class="fault" role="alert">
        {fault && codeFaultWords(codeFromAddress(typed), fault, t)}
      </p>
      <nav>
        <ActionButton name="code-open">{t("code_open")}</ActionButton>
      </nav>
    </form>
  );
}

export function Check(props: ScreenProps): JSX.Element {
  const { app, view, t } = props;
  const tries = view.screen.name === "check" ? view.screen.tries : 0;
  return (
    <>
      <Title>{t("check_title")}</Title>
      <p>{t("check_date")}</p>
      <p>{t("check_link")}</p>
      <p>{t(tries >= MOST_TRIES ? "check_called" : "check_five")}</p>
      <CallLinks {...props} />
      <nav>
        <ActionButton name="again" kind={tries >= MOST_TRIES ? "plain" : "main"} onPress={() => app.go({ name: app.token ? "birth" : "nolink" })}>
          {t("try_again")}
        </ActionButton>
      </nav>
    </>
  );
}

export function Offline({ app, view, t }: ScreenProps): JSX.Element {
  const why = view.screen.name === "offline" ? view.screen.why : "offline";
  return (
    <>
      <Title>{t("offline_title")}</Title>
      <p role="alert">{t(`offline_${why}`)}</p>
      {why !== "newer" && <p>{t("offline_do")}</p>}
      <p class="soft">{t("offline_keep")}</p>
      <nav>
        <ActionButton name="again" busy={view.busy} onPress={() => tryAgain(app)}>
          {t(view.busy ? "opening" : "try_again")}
        </ActionButton>
      </nav>
    </>
  );
}

/** A link with nothing to answer: nothing is due, the follow-up has ended, or a newer link replaces this one. */
export function NothingToDo(props: ScreenProps & { screen: Extract<Screen, { lookup: string }> }): JSX.Element {
  const { app, view, t, screen } = props;
  const { name, first_name } = screen;
  // Never somebody else on this phone: that a person has died would be said of them. A link that has ended may have left nothing to say it with.
  const person = personShown(view);
  return (
    <>
      <Ruler place={13} of={12} />
      <Title>{t(`${name}_title`)}</Title>
      <p>{t(`${name}_what`, { name: first_name })}</p>
      <p>{t(name === "nothing" ? "nothing_later" : `${name}_do`)}</p>
      <PrivacyLink {...props} person={person} />
      {person?.sheet && (
        <button type="button" class="quiet" data-do="wrong" onClick={() => askWhatIsWrong(app, person, null, screen)}>
          {t("wrong")}
        </button>
      )}
      <Cautions {...props} />
    </>
  );
}

export function Insecure({ t }: ScreenProps): JSX.Element {
  return (
    <>
      <Title>{t("insecure_title")}</Title>
      <p>{t("insecure_do")}</p>
    </>
  );
}

/** The title of the page on each screen. It stands in the browser's history, so it holds no question, answer or name. */
import type { Screen, View } from "../app/app";
import { progress } from "../form/flow";
import type { Translate } from "../i18n";
import type { MessageKey } from "../i18n/en";

const OTHERS = { people: "forms_who", forms: "page_forms", warning: "page_call", menu: "menu", notice: "wrong_title", told: "wrong_title", privacy: "privacy", privacy_text: "privacy" } as const;

type Titled = Exclude<Screen["name"], "item" | keyof typeof OTHERS>;

function titleKey(name: Titled | keyof typeof OTHERS): MessageKey {
  return name in OTHERS ? OTHERS[name as keyof typeof OTHERS] : `${name as Titled}_title`;
}

export function pageTitle({ screen, open }: View, t: Translate): string {
  const words = screen.name === "item" ? open && t("place", progress(screen.key, open.steps)) : t(titleKey(screen.name));
  return words ? `${words} – ${t("product")}` : t("product");
}

/** Chooses the screen, and on each new one moves the focus to its heading. */
import type { JSX } from "preact";
import { useEffect, useErrorBoundary, useLayoutEffect, useRef, useState } from "preact/hooks";
import { goBack } from "./app/answering";
import type { App, View } from "./app/app";
import { tellClinic } from "./app/noticing";
import { forgetPerson } from "./app/people";
import { direction, translator } from "./i18n";
import { Received, Refused, Saved } from "./screens/after_send";
import { Birth } from "./screens/birth";
import { BareNumber, Broken } from "./screens/broken";
import type { ScreenProps } from "./screens/controls";
import { Forms } from "./screens/forms";
import { ItemScreen } from "./screens/item";
import { Check, Code, Insecure, Mistyped, NoLink, NothingToDo, Offline, Start } from "./screens/link";
import { Menu, Stopped } from "./screens/menu";
import { pageTitle } from "./screens/page_title";
import { Forgotten, People } from "./screens/people";
import { Review, Warning, Who } from "./screens/review";
import { Told } from "./screens/told";
import { Shell } from "./screens/shell";

function FormScreen(props: ScreenProps): JSX.Element | null {
  const { open, screen } = props.view;
  if (!open) return null;
  if (screen.name === "who") return <Who {...props} open={open} />;
  if (screen.name === "review") return <Review {...props} open={open} />;
  if (!("key" in screen)) return null;
  if (screen.name === "warning") return <Warning {...props} open={open} itemKey={screen.key} />;
  const step = open.steps.find((each) => each.key === screen.key);
  return step ? <ItemScreen key={screen.key} {...props} open={open} step={step} /> : null;
}

function CurrentScreen(props: ScreenProps): JSX.Element | null {
  const { app, view } = props;
  const { screen } = view;
  switch (screen.name) {
    case "start":
      return <Start {...props} />;
    case "mistyped":
      return <Mistyped {...props} />;
    case "code":
      return <Code {...props} />;
    case "nolink":
      return <NoLink {...props} />;
    case "people":
      return <People {...props} />;
    case "forget":
      return app.privacy && <app.privacy.Forget {...props} person={screen.person} onForget={() => forgetPerson(app, screen.person)} />;
    case "forgotten":
      return <Forgotten {...props} />;
    case "birth":
      return <Birth {...props} person={screen.person} />;
    case "check":
      return <Check {...props} />;
    case "offline":
      return <Offline {...props} />;
    case "forms":
      return <Forms {...props} />;
    case "nothing":
    case "ended":
    case "replaced":
      return <NothingToDo {...props} screen={screen} />;
    case "saved":
    case "unsaved":
      return <Saved {...props} row={screen.row} />;
    case "received":
      return <Received {...props} row={screen.row} />;
    case "refused":
      return <Refused {...props} />;
    case "insecure":
      return <Insecure {...props} />;
    case "menu":
      return <Menu {...props} />;
    case "stopped":
      return <Stopped {...props} />;
    case "wrong":
      return app.privacy && <app.privacy.Wrong {...props} screen={screen} onBack={() => goBack(app)} />;
    case "notice":
      return app.privacy && <app.privacy.NoticeScreen {...props} screen={screen} onTell={(notice) => tellClinic(app, notice, screen.person)} />;
    case "told":
      return <Told {...props} screen={screen} />;
    case "privacy":
    case "privacy_text":
      return app.privacy && <app.privacy.ClinicTexts {...props} screen={screen} onBack={() => goBack(app)} />;
    case "broken":
      return <Broken {...props} />;
    default:
      return <FormScreen {...props} />;
  }
}

function screenId(view: View): string {
  return "key" in view.screen ? `${view.screen.name} ${view.screen.key}` : view.screen.name;
}

/** The phone's own back button goes one screen back inside a form instead of leaving the page. */
function useBackButton(app: App, view: View): void {
  // With the screen itself: whoever goes back twice at once must not leave the page.
  useLayoutEffect(() => {
    if ((view.open || "back" in view.screen) && history.state !== "form") history.pushState("form", "");
  }, [screenId(view)]);
  useEffect(() => {
    const listen = (): void => {
      if (app.view.open || "back" in app.view.screen) void goBack(app);
    };
    window.addEventListener("popstate", listen);
    return () => window.removeEventListener("popstate", listen);
  }, []);
}

export function Root({ app }: { app: App }): JSX.Element {
  const [view, setView] = useState(app.view);
  app.onChange = setView;
  const undrawable = useRef(false);
  useErrorBoundary(() => {
    undrawable.current = app.view.screen.name === "broken";
    app.go({ name: "broken" });
  });
  const first = useRef(true);
  useLayoutEffect(() => {
    document.documentElement.lang = view.language;
    document.documentElement.dir = direction(view.language);
  }, [view.language]);
  useLayoutEffect(() => {
    window.scrollTo(0, 0);
  }, [screenId(view)]);
  // After the screen is drawn: taken before, the focus has the browser lay the page out once more than it needs, which a slow phone feels.
  useEffect(() => {
    if (!first.current) document.querySelector<HTMLElement>("h1")?.focus({ preventScroll: true });
    first.current = false;
  }, [screenId(view)]);
  useBackButton(app, view);
  if (undrawable.current) return <BareNumber app={app} />;
  const props = { app, view, t: translator(view.language, app.catalogues.get(view.language)) };
  const title = pageTitle(view, props.t);
  useLayoutEffect(() => {
    document.title = title;
  }, [title]);
  return (
    <Shell {...props}>
      <CurrentScreen {...props} />
    </Shell>
  );
}

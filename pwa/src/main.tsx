/** Starts the app: reads the link, gives the app what it needs of the browser, draws the first screen. */
import { Fragment, render } from "preact";
import { jsx } from "preact/jsx-runtime";
import "./styles/base.css";
import "./styles/entries.css";
import "./styles/screens.css";
import "./styles/low.css";
import { App, type AppContext, type PrivacyPart } from "./app/app";
import { losesOnReload, readDeviceStore } from "./app/device";
import { sendNow } from "./app/finishing";
import { refreshSheets, retryOpening, showFirstScreen, showLatest } from "./app/opening";
import { hearForgotten } from "./app/people";
import { restoreFromPage } from "./app/restoring";
import { keepUpdated } from "./app_updates";
import { readClinic } from "./clinic";
import { pickLanguage } from "./i18n";
import type { Catalogue } from "./i18n/en";
import { Root } from "./root";
import { type DeviceStore, openDeviceStore } from "./store/device_store";
import { memoryTables } from "./store/tables";
import { keptTries } from "./store/tries";
import { SEND, SENT } from "./sync/background";
import { jsonPoster } from "./sync/http";

/** The build puts the files' names with their hash into these. */
const SEAL = "__FILE_seal__";
const PRIVACY = "__FILE_privacy__";
const CATALOGUES = __CATALOGUES__;

/** Browsers remember that an address failed and do not fetch it again, so each new try uses another address. */
function lateLoader(): (name: string) => Promise<unknown> {
  let failed = 0;
  return async (name) => {
    try {
      return await __IMPORT__(failed ? `/p/${name}?${failed}` : `/p/${name}`);
    } catch (fault) {
      failed += 1;
      throw fault;
    }
  };
}

function catalogueIn(module: unknown, language: string): Catalogue {
  const found = (module as Record<string, Catalogue>)[language];
  if (!found) throw new Error(`no catalogue for ${language}`);
  return found;
}

function takeFragment(): string {
  const fragment = location.hash.slice(1);
  // Out of the address bar before anything else, so that it is neither copied nor read over a shoulder.
  if (fragment) history.replaceState(null, "", location.pathname);
  return fragment;
}

interface BackgroundSync {
  sync?: { register(tag: string): Promise<void> };
}

/** The browser may ask the person, so it comes only when something is left behind. Not every browser can send without a page. */
async function askToKeep(): Promise<boolean> {
  navigator.storage?.persist?.().catch(() => undefined);
  const registration = (await navigator.serviceWorker?.getRegistration().catch(() => undefined)) as BackgroundSync | undefined;
  return registration?.sync ? registration.sync.register(SEND).then(() => true, () => false) : false;
}

interface InstallEvent extends Event {
  prompt(): Promise<unknown>;
}

/** The browser's own offer would come at any time; ours stands where answers wait. */
function keepInstallOffer(app: App): void {
  window.addEventListener("beforeinstallprompt", (event) => {
    event.preventDefault();
    const offer = (event as InstallEvent).prompt.bind(event);
    app.change({ install: () => void offer().then(() => app.change({ install: null })) });
  });
}

/** The other windows of this page; the oldest browsers have no way to reach them. */
const otherWindows = typeof BroadcastChannel === "undefined" ? null : new BroadcastChannel("yearmark");

function makeContext(deviceStore: DeviceStore): AppContext {
  const late = lateLoader();
  const { languages, ...clinic } = readClinic(document.getElementById("clinic")?.textContent ?? "");
  return {
    deviceStore,
    clinic,
    languages,
    post: jsonPoster((path, init) => fetch(path, init)),
    now: () => new Date(),
    random: () => Math.random(),
    loadSeal: () => late(SEAL) as ReturnType<AppContext["loadSeal"]>,
    loadPrivacy: async () => {
      const part = (await late(PRIVACY)) as PrivacyPart;
      part.drawWith({ jsx, Fragment });
      return part;
    },
    loadCatalogue: async (language) => catalogueIn(await late(CATALOGUES[language] ?? ""), language),
    tries: keptTries,
    build: __APP_BUILD__,
    screen: `${screen.width}x${screen.height}`,
    agent: navigator.userAgent,
    time_zone: Intl.DateTimeFormat().resolvedOptions().timeZone || null,
    askToKeep,
    ios: /iPhone|iPad|iPod/.test(navigator.userAgent),
    tellForgotten: (lookup) => otherWindows?.postMessage(lookup),
    setTimer: (work, ms) => {
      const timer = setTimeout(work, ms);
      return () => clearTimeout(timer);
    },
  };
}

/** A fault that nobody expected shows the screen that says what to do. What cannot be loaded or comes from an extension is none. */
function listenForFaults(app: App): void {
  window.addEventListener("error", (event) => event.error instanceof Error && app.go({ name: "broken" }));
  window.addEventListener("unhandledrejection", () => app.go({ name: "broken" }));
}

function listenToBrowser(app: App): void {
  otherWindows?.addEventListener("message", (event) => void hearForgotten(app, String(event.data)));
  const hasUnsent = (): boolean => app.view.outbox.some((row) => row.trouble === null);
  window.addEventListener("online", () => {
    // A network that comes back may fail once more at once; what failed while there was none must not put the next try off for minutes.
    app.failedSends = 0;
    if (hasUnsent()) void sendNow(app, false);
    if (app.view.refresh_failure) void refreshSheets(app);
    void retryOpening(app);
  });
  navigator.serviceWorker?.addEventListener("message", (event) => event.data === SENT && void sendNow(app, false));
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState !== "visible") return;
    if (hasUnsent()) void sendNow(app, false);
    // A browser that takes storage from a page in the background may not say so.
    else if (app.view.open) void restoreFromPage(app);
  });
  window.addEventListener("beforeunload", (event) => {
    if (losesOnReload(app)) event.preventDefault();
  });
}

async function readStore(app: App): Promise<void> {
  if (!globalThis.crypto?.subtle) return;
  app.context.deviceStore = await openDeviceStore(() => void restoreFromPage(app));
  await readDeviceStore(app);
}

/** A link may be tapped while the page still loads: its code leaves the address bar at once, and it is the one that opens. */
function listenToAddress(open: (fragment: string) => void): void {
  window.addEventListener("hashchange", () => {
    const fragment = takeFragment();
    if (fragment) open(fragment);
  });
}

async function start(): Promise<void> {
  let fragment = takeFragment();
  let openLink = (later: string): void => void (fragment = later);
  listenToAddress((later) => openLink(later));
  const place = document.getElementById("app");
  if (!place) return;
  const context = makeContext({ tables: memoryTables(), persistence: "nothing" });
  const app = new App(context);
  listenForFaults(app);
  keepInstallOffer(app);
  await app.setLanguage(pickLanguage(navigator.languages ?? [navigator.language], context.languages));
  app.storageRead = readStore(app);
  await showLatest(app, () => fragment).catch(() => app.go({ name: "broken" }));
  openLink = (later) => void showFirstScreen(app, later);
  place.textContent = "";
  render(<Root app={app} />, place);
  listenToBrowser(app);
  await app.storageRead;
  if (app.view.outbox.length) void sendNow(app, "by_itself");
  if (!fragment) void refreshSheets(app);
  if ("serviceWorker" in navigator) keepUpdated(app, navigator.serviceWorker).catch(() => undefined);
}

void start();

/** Starts the app: reads the link, gives the app what it needs of the browser, draws the first screen. */
import { render } from "preact";
import "./styles/base.css";
import "./styles/entries.css";
import "./styles/screens.css";
import "./styles/low.css";
import { App, type AppContext } from "./app/app";
import { sendNow } from "./app/finishing";
import { readDeviceStore, refreshSheets, showFirstScreen } from "./app/opening";
import { keepUpdated } from "./app_updates";
import { readClinic } from "./clinic";
import { browserName } from "./form/payload";
import { pickLanguage } from "./i18n";
import type { Catalogue } from "./i18n/en";
import { Root } from "./root";
import type { SealToPoint } from "./seal/seal";
import { type DeviceStore, openDeviceStore } from "./store/device_store";
import { memoryTables } from "./store/tables";
import { keptTries } from "./store/tries";
import { jsonPoster } from "./sync/http";

/** The build puts the files' names with their hash into these. */
const SEAL = "__FILE_seal__";
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
    loadSeal: async () => ((await late(SEAL)) as { sealTo: SealToPoint }).sealTo,
    loadCatalogue: async (language) => catalogueIn(await late(CATALOGUES[language] ?? ""), language),
    tries: keptTries,
    build: __APP_BUILD__,
    device: { screen: `${screen.width}x${screen.height}`, browser: browserName(navigator.userAgent) },
    time_zone: Intl.DateTimeFormat().resolvedOptions().timeZone || null,
    setTimer: (work, ms) => {
      const timer = setTimeout(work, ms);
      return () => clearTimeout(timer);
    },
  };
}

function listenToBrowser(app: App): void {
  const hasUnsent = (): boolean => app.view.outbox.some((row) => row.trouble === null);
  window.addEventListener("online", () => hasUnsent() && void sendNow(app, false));
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible" && hasUnsent()) void sendNow(app, false);
  });
  window.addEventListener("beforeunload", (event) => {
    const { persistence } = app.context.deviceStore;
    const open = app.view.open !== null && (persistence !== "all" || app.view.draft_status === "unsaved");
    if (open || app.view.screen.name === "unsaved") event.preventDefault();
  });
}

async function readStore(app: App): Promise<void> {
  if (!globalThis.crypto?.subtle) return;
  app.context.deviceStore = await openDeviceStore();
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
  await app.setLanguage(pickLanguage(navigator.languages ?? [navigator.language], context.languages));
  app.storageRead = readStore(app);
  await showFirstScreen(app, fragment);
  openLink = (later) => void showFirstScreen(app, later);
  place.textContent = "";
  render(<Root app={app} />, place);
  listenToBrowser(app);
  await app.storageRead;
  if (app.view.outbox.length) void sendNow(app, true);
  if (!fragment) void refreshSheets(app);
  if ("serviceWorker" in navigator) keepUpdated(app, navigator.serviceWorker).catch(() => undefined);
}

void start();

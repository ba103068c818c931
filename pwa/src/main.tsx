/** The way in: reads the link, wires the phone to the world, draws. */
import { render } from "preact";
import "./styles/base.css";
import "./styles/entries.css";
import "./styles/screens.css";
import "./styles/low.css";
import { arrive, refresh, reload } from "./app/opening";
import { sendNow } from "./app/finishing";
import { Phone, type World } from "./app/phone";
import { readClinic } from "./clinic";
import { browserName } from "./form/payload";
import { pickLanguage } from "./i18n";
import type { Words } from "./i18n/en";
import { Root } from "./root";
import type { SealPoint } from "./seal/seal";
import { chooseStorage, type Storage } from "./store/choose";
import { memoryTables } from "./store/tables";
import { poster } from "./sync/http";
import { keepFresh } from "./worker";

/** The build puts the files' names with their hash here. */
const SEAL = "__FILE_seal__";
const WORDS: Record<string, string> = { es: "__FILE_es__" };

/** Browsers remember that an address failed and do not fetch it again, so each new try takes another. */
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

function words(module: unknown, language: string): Words {
  const found = (module as Record<string, Words>)[language];
  if (!found) throw new Error(`no words for ${language}`);
  return found;
}

function takeFragment(): string {
  const fragment = location.hash.slice(1);
  // Out of the address bar before anything else, so that it is neither copied nor read over a shoulder.
  if (fragment) history.replaceState(null, "", location.pathname);
  return fragment;
}

function world(storage: Storage): World {
  const late = lateLoader();
  const { languages, ...clinic } = readClinic(document.getElementById("clinic")?.textContent ?? "");
  return {
    storage,
    clinic,
    languages,
    post: poster((path, init) => fetch(path, init)),
    now: () => new Date(),
    chance: () => Math.random(),
    loadSeal: async () => ((await late(SEAL)) as { sealTo: SealPoint }).sealTo,
    loadWords: async (language) => words(await late(WORDS[language] ?? ""), language),
    build: __APP_BUILD__,
    device: { screen: `${screen.width}x${screen.height}`, browser: browserName(navigator.userAgent) },
    time_zone: Intl.DateTimeFormat().resolvedOptions().timeZone || null,
    later: (work, ms) => {
      const timer = setTimeout(work, ms);
      return () => clearTimeout(timer);
    },
  };
}

function listen(phone: Phone): void {
  const waits = (): boolean => phone.view.outbox.some((row) => row.trouble === null);
  window.addEventListener("online", () => waits() && void sendNow(phone, false));
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible" && waits()) void sendNow(phone, false);
  });
  window.addEventListener("hashchange", () => {
    const fragment = takeFragment();
    if (fragment) void arrive(phone, fragment);
  });
  window.addEventListener("beforeunload", (event) => {
    const { keeps } = phone.world.storage;
    const open = phone.view.open !== null && (keeps !== "all" || phone.view.kept === "unsaved");
    if (open || phone.view.screen.name === "unsaved") event.preventDefault();
  });
}

async function settle(phone: Phone): Promise<void> {
  if (!globalThis.crypto?.subtle) return;
  phone.world.storage = await chooseStorage();
  await reload(phone);
}

async function start(): Promise<void> {
  const fragment = takeFragment();
  const place = document.getElementById("app");
  if (!place) return;
  const here = world({ tables: memoryTables(), keeps: "nothing" });
  const phone = new Phone(here);
  await phone.speak(pickLanguage(navigator.languages ?? [navigator.language], here.languages));
  phone.ready = settle(phone);
  await arrive(phone, fragment);
  place.textContent = "";
  render(<Root phone={phone} />, place);
  listen(phone);
  await phone.ready;
  if (phone.view.outbox.length) void sendNow(phone, true);
  if (!fragment) void refresh(phone);
  if ("serviceWorker" in navigator) keepFresh(phone, navigator.serviceWorker).catch(() => undefined);
}

void start();

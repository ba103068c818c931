/** The service worker: it keeps all files at install, serves /p/ from them, and sends what waits when the network is back. */
import { indexedDbTables } from "./store/indexed_db";
import { SEND, SENT } from "./sync/background";
import { jsonPoster } from "./sync/http";
import { sendOutbox } from "./sync/send";

interface Waiting extends Event {
  waitUntil(work: Promise<unknown>): void;
}
interface Fetching extends Waiting {
  request: Request;
  respondWith(response: Promise<Response>): void;
}
interface Syncing extends Waiting {
  tag: string;
}
interface Worker {
  addEventListener(name: "install" | "activate", listen: (event: Waiting) => void): void;
  addEventListener(name: "message", listen: (event: MessageEvent) => void): void;
  addEventListener(name: "fetch", listen: (event: Fetching) => void): void;
  addEventListener(name: "sync", listen: (event: Syncing) => void): void;
  skipWaiting(): Promise<void>;
  clients: { claim(): Promise<void>; matchAll(): Promise<{ postMessage(message: string): void }[]> };
  location: Location;
}

const worker = self as unknown as Worker;
const PREFIX = "yearmark-";
/** The server writes its build and a hash of the clinic's numbers here, so that a change of either makes a new worker. */
const CACHE = `${PREFIX}__BUILD__`;
const FILES = "__FILES__".split(" ").map((name) => `/p/${name}`);
const PAGE = "/p/";

async function keep(): Promise<void> {
  const cache = await caches.open(CACHE);
  const wanted = [PAGE, ...FILES];
  // `no-cache` asks the server about every file, but does not fetch again what the page fetched a moment ago.
  const responses = await Promise.all(wanted.map((path) => fetch(path, { cache: "no-cache", credentials: "omit" })));
  // A redirected answer cannot be served to a navigation, and a sign-in page of the network must not be kept.
  if (responses.some((each) => !each.ok || each.redirected)) throw new Error("could not keep all files");
  await Promise.all(responses.map((each, at) => cache.put(wanted[at] ?? PAGE, each)));
}

async function dropOld(): Promise<void> {
  const names = await caches.keys();
  await Promise.all(names.filter((name) => name.startsWith(PREFIX) && name !== CACHE).map((name) => caches.delete(name)));
  await worker.clients.claim();
}

async function answer(path: string, request: Request): Promise<Response> {
  const cache = await caches.open(CACHE);
  return (await cache.match(path)) ?? fetch(request);
}

/** As the page sends, whether one is open or not. Where it fails, the browser is asked to call again. */
async function sendWaiting(): Promise<void> {
  const { later } = await sendOutbox(indexedDbTables(), jsonPoster((path, init) => fetch(path, init)), false);
  for (const page of await worker.clients.matchAll()) page.postMessage(SENT);
  if (later) throw new Error(later.why);
}

worker.addEventListener("install", (event) => event.waitUntil(keep()));
worker.addEventListener("activate", (event) => event.waitUntil(dropOld()));
worker.addEventListener("message", (event) => {
  if (event.data === "skipWaiting") void worker.skipWaiting();
});
worker.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== worker.location.origin) return;
  if (event.request.mode === "navigate" && url.pathname === PAGE) return event.respondWith(answer(PAGE, event.request));
  if (FILES.includes(url.pathname)) event.respondWith(answer(url.pathname, event.request));
});
worker.addEventListener("sync", (event) => {
  if (event.tag === SEND) event.waitUntil(sendWaiting());
});

/** The page's side of the service worker: keep it fresh, but never change the app under a form. */
import type { Phone } from "./app/phone";

function isIdle(phone: Phone): boolean {
  const { screen, open, busy, sending } = phone.view;
  return !open && !busy && !sending && !phone.token && (screen.name === "forms" || screen.name === "nolink");
}

/** `register()` alone does not look for a new version promptly, and a reload never activates a waiting one. */
export async function keepFresh(phone: Phone, container: ServiceWorkerContainer): Promise<void> {
  let asked = false;
  container.addEventListener("controllerchange", () => {
    document.documentElement.dataset.offline = "ready";
    if (asked) location.reload();
  });
  const registration = await container.register("/p/sw.js", { scope: "/p/" });
  const activate = (): void => {
    if (!registration.waiting || !container.controller || !isIdle(phone)) return;
    asked = true;
    registration.waiting.postMessage("skipWaiting");
  };
  registration.addEventListener("updatefound", () => {
    registration.installing?.addEventListener("statechange", activate);
  });
  if (container.controller) document.documentElement.dataset.offline = "ready";
  activate();
  await registration.update();
}

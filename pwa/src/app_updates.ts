/** Registers the service worker and brings new versions of the app, but never while a form is open or answers lie only in this page. */
import type { App } from "./app/app";
import { losesOnReload } from "./app/device";

function isIdle(app: App): boolean {
  const { screen, open, busy, sending } = app.view;
  return !losesOnReload(app) && !open && !busy && !sending && !app.token && (screen.name === "forms" || screen.name === "nolink");
}

/** `register()` alone does not look for a new version promptly, and a reload never activates a waiting one. */
export async function keepUpdated(app: App, container: ServiceWorkerContainer): Promise<void> {
  let activating = false;
  container.addEventListener("controllerchange", () => {
    document.documentElement.dataset.offline = "ready";
    if (activating) location.reload();
  });
  const registration = await container.register("/p/sw.js", { scope: "/p/" });
  const activate = (): void => {
    if (!registration.waiting || !container.controller || !isIdle(app)) return;
    activating = true;
    registration.waiting.postMessage("skipWaiting");
  };
  registration.addEventListener("updatefound", () => {
    registration.installing?.addEventListener("statechange", activate);
  });
  if (container.controller) document.documentElement.dataset.offline = "ready";
  activate();
  await registration.update();
}

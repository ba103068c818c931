/** When the browser has taken away what this phone kept while the page was open: the page's copy is written again. */
import { saveOpenDraft } from "./answering";
import type { App } from "./app";
import { offerAgain, readDeviceStore } from "./device";

export async function restoreFromPage(app: App): Promise<void> {
  await saveOpenDraft(app);
  await readDeviceStore(app);
  await offerAgain(app);
  await readDeviceStore(app);
  const { people, outbox, screen } = app.view;
  if (screen.name === "forms" && !people.length && !outbox.length) app.go({ name: "nolink" });
}

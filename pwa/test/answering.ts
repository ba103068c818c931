/** A person at this clinic's form, as a test drives the app: proven, answering, at the review. */
import { answerItem, goToNext, goToReview, openForm, setAnsweredBy } from "../src/app/answering";
import type { App } from "../src/app/app";
import { begin, openWithBirthDate, showFirstScreen } from "../src/app/opening";
import type { Value } from "../src/form/due_sheet";
import type { DeviceStore } from "../src/store/device_store";
import { appOn, BORN, type Clinic, TOKEN } from "./clinic";

export async function provenOn(clinic: Clinic, deviceStore: DeviceStore, planned?: (() => void)[]): Promise<App> {
  const app = appOn(clinic, deviceStore, planned);
  await showFirstScreen(app, TOKEN);
  await begin(app);
  await openWithBirthDate(app, BORN);
  return app;
}

export async function start(app: App, at = 0): Promise<void> {
  const person = app.view.people[0]!;
  await openForm(app, person, person.sheet!.forms[at]!);
}

export async function give(app: App, key: string, value: Value): Promise<void> {
  const step = app.view.open!.steps.find((each) => each.key === key)!;
  await answerItem(app, key, value);
  await goToNext(app, step);
}

/** To the review. */
export async function answerAll(app: App): Promise<void> {
  const answers: [string, Value][] = [["since@1/1", 0], ["since@1/2", 12], ["since@1/3", 4], ["sst@1/1", 1], ["sst@1/2", 0]];
  for (const [key, value] of answers) await give(app, key, value);
  await setAnsweredBy(app, "patient");
  await goToReview(app);
}

export const screenOf = (app: App): object => {
  const { row: _row, ...rest } = app.view.screen as { row?: object };
  return rest;
};

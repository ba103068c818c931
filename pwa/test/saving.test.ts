/** The footer says `saved` of what is on disk, never of what is on its way there. */
import { expect, test } from "vitest";
import { answerItem, goBack, goToList, goToNext } from "../src/app/answering";
import type { App } from "../src/app/app";
import { showFirstScreen } from "../src/app/opening";
import { findDraft } from "../src/store/drafts";
import { memoryTables, type Tables } from "../src/store/tables";
import { provenOn, start } from "./answering";
import { Clinic, TOKEN } from "./clinic";

/** Tables whose writes to `drafts` end only when the test lets them. */
function slowTables(): { tables: Tables; waiting: (() => void)[] } {
  const tables = memoryTables();
  const waiting: (() => void)[] = [];
  const write: Tables["write"] = async (ops) => {
    if (waiting.length || ops.some((op) => op.table === "drafts")) await new Promise<void>((end) => waiting.push(end));
    await tables.write(ops);
  };
  return { tables: { ...tables, write }, waiting };
}

async function oneMoreWrite(waiting: (() => void)[]): Promise<void> {
  const end = await new Promise<() => void>((found) => {
    const look = (): void => {
      const next = waiting.shift();
      if (next) found(next);
      else setTimeout(look);
    };
    look();
  });
  end();
}

async function opened(): Promise<{ app: App; waiting: (() => void)[]; drawn: string[] }> {
  const { tables, waiting } = slowTables();
  const app = await provenOn(await Clinic.open("left"), { tables, persistence: "all" });
  const opening = start(app);
  await oneMoreWrite(waiting);
  await opening;
  const drawn: string[] = [];
  app.onChange = (view) => drawn.push(`${Object.keys(view.open?.draft.answers ?? {}).length} ${view.draft_status}`);
  return { app, waiting, drawn };
}

test("an answer is drawn as saving, and as saved once its write has ended", async () => {
  const { app, waiting, drawn } = await opened();
  const answering = answerItem(app, "since@1/1", 0);
  expect(drawn).toEqual(["1 saving"]);
  await oneMoreWrite(waiting);
  await answering;
  expect(drawn).toEqual(["1 saving", "1 saved"]);
});

test("the end of a write says nothing of an answer that was given meanwhile", async () => {
  const { app, waiting, drawn } = await opened();
  const first = answerItem(app, "since@1/1", 0);
  await Promise.resolve();
  const second = answerItem(app, "since@1/3", 4);
  await oneMoreWrite(waiting);
  await first;
  expect([...new Set(drawn)]).toEqual(["1 saving", "2 saving"]);
  await oneMoreWrite(waiting);
  await second;
  expect(drawn.at(-1)).toBe("2 saved");
});

test("Next shows the next question only when everything is on disk", async () => {
  const { app, waiting } = await opened();
  const answering = answerItem(app, "since@1/1", 0);
  await oneMoreWrite(waiting);
  await answering;
  const going = goToNext(app, app.view.open!.steps[0]!);
  await Promise.resolve();
  expect(app.view.screen).toEqual({ name: "item", key: "since@1/1" });
  await oneMoreWrite(waiting);
  await going;
  expect([app.view.screen, app.view.draft_status]).toEqual([{ name: "item", key: "since@1/2" }, "saved"]);
});

const WAYS_OUT: [string, (app: App) => Promise<void>][] = [
  ["All my forms", goToList],
  ["Back on the first question", goBack],
  ["another link", (app) => showFirstScreen(app, TOKEN)],
];

test.each(WAYS_OUT)("leaving by %s loses no answer whose write still waits for its turn", async (_way, leave) => {
  const { app, waiting } = await opened();
  const answering = [answerItem(app, "since@1/1", 0)];
  await Promise.resolve();
  answering.push(answerItem(app, "since@1/3", 4));
  const leaving = leave(app);
  await oneMoreWrite(waiting);
  await oneMoreWrite(waiting);
  await Promise.all([...answering, leaving]);
  const [person] = app.view.people;
  const kept = await findDraft(person!.sheet!.forms[0]!.form_id, person!.row, app.tables);
  expect([app.view.open, Object.keys(kept?.answers ?? {})]).toEqual([null, ["since@1/1", "since@1/3"]]);
});

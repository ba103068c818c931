import "fake-indexeddb/auto";
import { IDBFactory } from "fake-indexeddb";
import { beforeEach, describe, expect, test } from "vitest";
import { goBack } from "../src/app/answering";
import type { App, Screen } from "../src/app/app";
import { showFirstScreen } from "../src/app/opening";
import { readClinicTexts } from "../src/app/reading";
import { utf8 } from "../src/bytes";
import { type ClinicText, clinicTexts, languageOf } from "../src/form/clinic_texts";
import { translator } from "../src/i18n";
import { enLate } from "../src/i18n/en";
import { es } from "../src/i18n/es";
import { readSheet } from "../src/link/open_sheet";
import { ClinicTexts } from "../src/screens/privacy";
import { PrivacyLink } from "../src/screens/privacy_link";
import { findDraft } from "../src/store/drafts";
import type { Person } from "../src/store/people";
import { type DeviceStore, openDeviceStore } from "../src/store/device_store";
import { give, provenOn, start } from "./answering";
import { sheetOf } from "./cast";
import { appOn, Clinic } from "./clinic";
import { drawn, unfolded } from "./drawn";

const worded = (title: string) => ({ title, paragraphs: [{ heading: true, text: `${title} heading` }, { heading: false, text: `${title} words` }] });
const PRIVACY: ClinicText = { kind: "privacy", version: "3", since: "2026-03-01", given_on: null, texts: { en: worded("Privacy"), es: worded("Privacidad") } };
const RESEARCH: ClinicText = { kind: "research", version: "1", since: "2025-01-31", given_on: "2025-02-03", texts: { en: worded("Research") } };

let deviceStore: DeviceStore;
let clinic: Clinic;
beforeEach(async () => {
  globalThis.indexedDB = new IDBFactory();
  deviceStore = await openDeviceStore();
  clinic = await Clinic.open("left");
});

async function onTheList(...notices: unknown[]): Promise<App> {
  clinic.sheet = { ...clinic.sheet, notices };
  return provenOn(clinic, deviceStore);
}

const read = (app: App): Promise<void> => readClinicTexts(app, app.view.people[0]!);

function shown(app: App): ReturnType<typeof drawn> {
  const { view } = app;
  const screen = view.screen as Extract<Screen, { name: "privacy" | "privacy_text" }>;
  const props = { app, view, t: translator(view.language, app.catalogues.get(view.language)), screen, onBack: () => goBack(app) };
  return drawn(unfolded(ClinicTexts(props)));
}

describe("the clinic's texts on the due sheet", () => {
  test("a sheet of an older server has none, and what is no list is none", () => {
    const found = [undefined, null, "texts", 3, {}].map((notices) => clinicTexts({ ...sheetOf(["left"]), notices }));
    expect([clinicTexts(null), ...found]).toEqual([[], [], [], [], [], []]);
  });

  const [en] = [PRIVACY.texts["en"]!];
  const malformed: [string, unknown][] = [
    ["nothing", null],
    ["a word", "privacy"],
    ["no kind", { ...PRIVACY, kind: "" }],
    ["a version that is a number", { ...PRIVACY, version: 3 }],
    ["a day that is none", { ...PRIVACY, since: "2026-13-41" }],
    ["an instant for a day", { ...PRIVACY, since: "2026-03-01T00:00:00Z" }],
    ["no word on consent", { ...PRIVACY, given_on: undefined }],
    ["no text", { ...PRIVACY, texts: {} }],
    ["texts that are none", { ...PRIVACY, texts: null }],
    ["a text without a title", { ...PRIVACY, texts: { en: { ...en, title: "" } } }],
    ["a text without paragraphs", { ...PRIVACY, texts: { en: { ...en, paragraphs: [] } } }],
    ["a paragraph that is a word", { ...PRIVACY, texts: { en: { ...en, paragraphs: ["words"] } } }],
    ["a paragraph that says not whether it is a heading", { ...PRIVACY, texts: { en: { ...en, paragraphs: [{ text: "words" }] } } }],
    ["one language right and one wrong", { ...PRIVACY, texts: { en, es: { ...en, paragraphs: [{ heading: false, text: null }] } } }],
  ];
  test.each(malformed)("%s is left out; the other texts and the forms stay", (_what, notice) => {
    const sheet = readSheet(utf8(JSON.stringify({ ...sheetOf(["left"]), notices: [notice, RESEARCH] })));
    expect([clinicTexts(sheet).map((each) => each.kind), sheet.forms.length]).toEqual([["research"], 1]);
  });

  test("the language is the chosen one, else the patient's, else the first; the patient's first where the app does not speak it", () => {
    const text = (...languages: string[]): ClinicText => ({ ...PRIVACY, texts: Object.fromEntries(languages.map((each) => [each, worded(each)])) });
    expect(languageOf(text("en", "es"), "es", "en")).toBe("es");
    expect(languageOf(text("de", "en"), "es", "en")).toBe("en");
    expect(languageOf(text("de", "fr"), "es", "en")).toBe("de");
    expect(languageOf(text("en", "ar"), "en", "ar")).toBe("ar");
    expect(languageOf(text("en", "de"), "en", "ar")).toBe("en");
  });
});

describe("reading them", () => {
  test("the only one opens at once, and back is where the person was", async () => {
    const app = await onTheList(PRIVACY);
    await read(app);
    expect(app.view.screen.name).toBe("privacy_text");
    expect(shown(app).words).toBe("PrivacyVersion 3, since 1 March 2026Privacy headingPrivacy wordsBack");
    await goBack(app);
    expect(app.view.screen).toEqual({ name: "forms" });
  });

  test("several are listed; one that was chosen leads back to the list", async () => {
    const app = await onTheList(PRIVACY, RESEARCH);
    await read(app);
    expect([app.view.screen.name, Object.keys(shown(app).buttons)]).toEqual(["privacy", ["text-privacy", "text-research", "back"]]);
    shown(app).buttons["text-research"]!();
    expect(shown(app).words).toContain("Version 1, since 31 January 2025Agreed to on 3 February 2025.");
    await goBack(app);
    expect(app.view.screen.name).toBe("privacy");
    await goBack(app);
    expect(app.view.screen).toEqual({ name: "forms" });
  });

  test("that somebody agreed is said and not who: it may have been a parent", () => {
    expect([enLate.text_agreed, es.text_agreed]).toEqual(["Agreed to on {date}.", "Aceptado el {date}."]);
  });

  test("only what was agreed to is called agreed to", async () => {
    const app = await onTheList(PRIVACY, { ...RESEARCH, given_on: null });
    await read(app);
    expect(shown(app).words).not.toContain("Agreed to");
  });

  test("a text that is not there in the phone's language says so, in the language of the phone", async () => {
    const app = await onTheList({ ...PRIVACY, texts: { ar: worded("خصوصية") } });
    await read(app);
    expect(shown(app).words).toContain("This text is in Arabic. The clinic does not have it in English.");
    await app.setLanguage("es");
    expect(shown(app).words).toContain("Este texto está en árabe. La clínica no lo tiene en español.");
  });

  test("from the menu in the middle of a form it is back to the menu, then to the question, and the draft is as it was", async () => {
    const app = await onTheList(PRIVACY);
    await start(app);
    await give(app, "since@1/1", 0);
    const question = app.view.screen;
    const { draft, person } = app.view.open!;
    app.go({ name: "menu", back: question });
    await read(app);
    expect(app.view.screen.name).toBe("privacy_text");
    await goBack(app);
    expect(app.view.screen).toEqual({ name: "menu", back: question });
    await goBack(app);
    expect([app.view.screen, app.view.open!.draft, app.view.draft_status]).toEqual([question, draft, "saved"]);
    expect((await findDraft(draft.form_id, person.row, deviceStore.tables))?.answers).toEqual(draft.answers);
  });

  test("without network they are read from what the phone has kept", async () => {
    await onTheList(PRIVACY);
    clinic.online = false;
    const again = appOn(clinic, deviceStore);
    await showFirstScreen(again, "");
    await read(again);
    expect(shown(again).words).toContain("Privacy words");
  });

  test("where nothing is due they are read too, and back leads there", async () => {
    clinic.state = "nothing_due";
    clinic.sheet = { ...clinic.sheet, forms: [] };
    const app = await onTheList(PRIVACY);
    const before = app.view.screen;
    await read(app);
    expect(shown(app).words).toContain("Privacy words");
    await goBack(app);
    expect([before.name, app.view.screen]).toEqual(["nothing", before]);
  });

  test("when their screen cannot be loaded the person stays, is told, and can go on; a later try works", async () => {
    const app = await onTheList(PRIVACY);
    await start(app);
    const { loadPrivacy } = app.context;
    const question = app.view.screen;
    app.context.loadPrivacy = () => Promise.reject(new TypeError("not found"));
    await read(app);
    expect([app.view.screen, app.view.note]).toEqual([question, "not_loaded"]);
    app.context.loadPrivacy = loadPrivacy;
    await read(app);
    expect([app.view.screen.name, app.view.note]).toEqual(["privacy_text", null]);
  });

  test("who has gone on while the screen was loading is not called back", async () => {
    const app = await onTheList(PRIVACY);
    await start(app);
    const { loadPrivacy } = app.context;
    app.context.loadPrivacy = async () => {
      await give(app, "since@1/1", 0);
      return loadPrivacy();
    };
    await read(app);
    expect(app.view.screen).toEqual({ name: "item", key: "since@1/2" });
  });
});

test("the way there is offered only where there is something to read", async () => {
  const app = await onTheList({ ...PRIVACY, texts: {} });
  const link = (person: Person | undefined): unknown => PrivacyLink({ app, view: app.view, t: translator("en"), person });
  expect([link(app.view.people[0]), link(undefined)].map((each) => drawn(unfolded(each)))).toEqual(Array(2).fill({ words: "", links: [], buttons: {} }));
  const withText = { ...app.view.people[0]!, sheet: { ...app.view.people[0]!.sheet!, notices: [PRIVACY] } };
  expect(drawn(unfolded(link(withText))).words).toBe("Privacy: how your answers are used");
});

/** The state of the app, and what it needs of the browser, which is passed in so that tests can pass in their own. */
import type { Bytes } from "../bytes";
import type { ClinicText } from "../form/clinic_texts";
import type { Clinic, Form, Sheet } from "../form/due_sheet";
import type { Step } from "../form/flow";
import type { Notice, NoticeKind } from "../form/notice";
import { type Catalogue, en } from "../i18n/en";
import type { LinkKeys } from "../link/derive";
import type { TokenFault } from "../link/token";
import type { DeviceStore } from "../store/device_store";
import type { Draft } from "../store/drafts";
import type { Person } from "../store/people";
import { InMemory } from "../store/in_memory";
import type { OutboxRow, RestoredAt, Tables, Trouble } from "../store/tables";
import type { Post, PostFailure } from "../sync/http";

export type SheetFailure = PostFailure | "newer";

export type Screen =
  | { name: "start" | "people" | "forgotten" | "nolink" | "code" | "insecure" | "broken" | "forms" }
  /** `person`: one who is known to this phone, as are others. */
  | { name: "birth"; person?: Person }
  | { name: "forget"; person: Person }
  | { name: "mistyped"; fault: TokenFault }
  | { name: "check"; tries: number }
  | { name: "offline"; why: SheetFailure }
  /** `lookup`: of the link that this is said of; others may use the phone too. */
  | { name: "nothing" | "ended" | "replaced"; lookup: string; first_name: string }
  | { name: "item" | "warning"; key: string }
  | { name: "who" | "review" }
  /** Over a form; `back` is the screen that it was opened from. */
  | { name: "menu" | "stopped"; back: Screen }
  /** "Something here is wrong", on the list or in a form. */
  | { name: "wrong"; person: Person; form_id: string | null; back: Screen }
  | { name: "notice"; kind: NoticeKind; true_side: Notice["true_side"]; person: Person; form_id: string | null; back: Screen }
  | { name: "told"; message: OutboxRow; back: Screen }
  /** The clinic's own texts, to choose from, and one of them. `own`: the patient's language. */
  | { name: "privacy"; texts: ClinicText[]; own: string; back: Screen }
  | { name: "privacy_text"; text: ClinicText; own: string; back: Screen }
  | { name: "saved" | "received"; row: OutboxRow }
  /** `begun_kept`: the disk refused the finished form, but holds all its answers as a begun one. */
  | { name: "unsaved"; row: OutboxRow; begun_kept: boolean }
  | { name: "refused"; row: OutboxRow; trouble: Trouble };

export interface OpenForm {
  person: Person;
  sheet: Sheet;
  form: Form;
  steps: Step[];
  draft: Draft;
}

/** What of the open form is on disk: `saved` is said only after the transaction has ended. */
export type DraftStatus = "none" | "saving" | "saved" | "unsaved";

export type Note = "elsewhere" | "newer" | "not_loaded" | "seal_failed" | "seal_failed_newer" | null;

export interface View {
  screen: Screen;
  language: string;
  /** The person chose the language; otherwise it follows the due sheet. */
  language_chosen: boolean;
  people: Person[];
  /** The lookup of the person whose forms are shown. */
  entered: string | null;
  /** Forms with a draft, each `underLink`. */
  begun: ReadonlySet<string>;
  outbox: OutboxRow[];
  /** Forms with a warning answer that were finished since the page was loaded: the screen after them names it once more. */
  warned: OpenForm[];
  /** Envelopes that the disk does not hold: they are lost when the page is closed before they are sent. */
  in_memory: ReadonlySet<string>;
  open: OpenForm | null;
  draft_status: DraftStatus;
  busy: boolean;
  note: Note;
  /** Why the last look for new forms did not go through. */
  refresh_failure: PostFailure | null;
  /** Why the last try to send did not go through. */
  send_failure: PostFailure | null;
  sending: boolean;
  /** The browser has agreed to send what waits without this page. */
  sends_alone: boolean;
  /** Puts the page on the home screen; null where the browser does not offer it. */
  install: (() => void) | null;
}

/** How often a wrong birth date was given for a link, by its lookup. */
export interface Tries {
  of(lookup: string): number;
  note(lookup: string, tries: number): void;
}

export type PrivacyPart = typeof import("../late/privacy");

export interface AppContext {
  deviceStore: DeviceStore;
  clinic: Clinic & { hours?: Record<string, string> };
  languages: string[];
  post: Post;
  now(): Date;
  random(): number;
  loadSeal(): Promise<typeof import("../seal/sealing")>;
  loadPrivacy(): Promise<PrivacyPart>;
  loadCatalogue(language: string): Promise<Catalogue>;
  tries: Tries;
  build: string;
  /** Of the whole device, such as `360x740`. */
  screen: string;
  /** What the browser calls itself; only its name and main version ever leave the phone. */
  agent: string;
  time_zone: string | null;
  /** Asks the browser not to throw away what lies here, and to have it sent once there is network; true if it will do so without a page. */
  askToKeep(): Promise<boolean>;
  /** An iPhone or iPad, which deletes what a page keeps after a week without a visit, and offers no installing. */
  ios: boolean;
  /** Tells the other windows of this page that a person was forgotten. */
  tellForgotten(lookup: string): void;
  /** Runs `work` after `ms`; returns a function that cancels it. */
  setTimer(work: () => void, ms: number): () => void;
}

export class App {
  /** Resolves when the device store has been read. */
  storageRead: Promise<void> = Promise.resolve();
  /** The link's bytes, only until a birth date has been accepted. */
  token: Bytes | null = null;
  pendingKeys: LinkKeys | null = null;
  /** What was typed as a code, until it is right. */
  typedCode = "";
  /** The first screen with its cautions has been shown since the page was loaded. */
  cautionsShown = false;
  failedSends = 0;
  /** Somebody asked to send while a try was on its way, such as because the network came back. */
  sendAsked = false;
  failedOpenings = 0;
  cancelRetry: () => void = () => undefined;
  runningWrite: Promise<boolean> = Promise.resolve(true);
  queuedWrite: Promise<boolean> | null = null;
  readonly inMemory = new InMemory();
  /** The receipts that this page has, should the disk refuse to note them: of envelopes, and of forms under their links. */
  readonly receivedEnvelopes = new Set<string>();
  receipts: { lookup: string; form_id: string; restored_at: RestoredAt }[] = [];
  /** Lookups that this phone was told to forget: nothing that is still on its way brings them back. */
  readonly forgotten = new Set<string>();
  /** Lookups whose contact details a form of this visit has asked for. */
  readonly contactAsked = new Set<string>();
  onChange: (view: View) => void = () => undefined;
  readonly catalogues = new Map<string, Partial<Catalogue>>([["en", en]]);
  /** Once it has been loaded. */
  privacy: PrivacyPart | null = null;
  view: View;

  constructor(readonly context: AppContext) {
    this.view = {
      screen: { name: "nolink" },
      language: "en",
      language_chosen: false,
      people: [],
      entered: null,
      begun: new Set(),
      outbox: [],
      warned: [],
      in_memory: new Set(),
      open: null,
      draft_status: "none",
      busy: false,
      note: null,
      refresh_failure: null,
      send_failure: null,
      sending: false,
      sends_alone: false,
      install: null,
    };
  }

  get tables(): Tables {
    return this.context.deviceStore.tables;
  }

  instant(): string {
    return this.context.now().toISOString();
  }

  /** The calendar day where the phone is, by its clock put right by `skew_ms`, which is phone time minus server time. */
  today(skew_ms: number | null = 0): string {
    const now = new Date(this.context.now().getTime() - (skew_ms ?? 0));
    return `${now.getFullYear()}-${String(now.getMonth() + 1).padStart(2, "0")}-${String(now.getDate()).padStart(2, "0")}`;
  }

  /** Changes the language once its catalogue is loaded; without network it may not load, and nothing changes. */
  async setLanguage(language: string): Promise<void> {
    try {
      if (!this.catalogues.has(language)) this.catalogues.set(language, await this.context.loadCatalogue(language));
      this.change({ language });
    } catch {
      this.change({});
    }
  }

  /** For a change that is followed at once by another, which draws. */
  changeWithoutDrawing(patch: Partial<View>): void {
    this.view = { ...this.view, ...patch };
  }

  change(patch: Partial<View>): void {
    this.changeWithoutDrawing(patch);
    this.onChange(this.view);
  }

  go(screen: Screen): void {
    this.change({ screen, busy: false });
  }
}

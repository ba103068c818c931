/** The state of the page, and what it needs from the world, passed in. */
import type { Bytes } from "../bytes";
import type { Step } from "../form/flow";
import type { Clinic, Form, Sheet } from "../form/items";
import { en, type Words } from "../i18n/en";
import type { LinkKeys } from "../link/derive";
import type { TokenFault } from "../link/token";
import type { SealPoint } from "../seal/seal";
import type { Storage } from "../store/choose";
import type { Draft } from "../store/drafts";
import type { Person } from "../store/people";
import { memoryTables, type OutboxRow, type Tables, type Trouble } from "../store/tables";
import type { Post, Why } from "../sync/http";

export type WhyNot = Why | "newer";

export type Screen =
  | { name: "start" | "birth" | "nolink" | "code" | "insecure" | "broken" | "forms" }
  | { name: "mistyped"; fault: TokenFault }
  | { name: "check"; tries: number }
  | { name: "offline"; why: WhyNot }
  | { name: "nothing" | "ended" | "replaced"; first_name: string }
  | { name: "item" | "warning"; key: string }
  | { name: "who" | "review" }
  | { name: "saved" | "unsaved" | "received"; row: OutboxRow }
  | { name: "refused"; row: OutboxRow; trouble: Trouble };

export interface OpenForm {
  person: Person;
  sheet: Sheet;
  form: Form;
  steps: Step[];
  draft: Draft;
}

/** What of the open form is on disk: `saved` is said only after the transaction has ended. */
export type Kept = "none" | "saving" | "saved" | "unsaved";

export type Note = "elsewhere" | "newer" | "seal_failed" | "seal_failed_newer" | null;

export interface View {
  screen: Screen;
  language: string;
  /** The person chose the language; otherwise it follows the due sheet. */
  chosen: boolean;
  people: Person[];
  /** Forms with a draft on this phone. */
  begun: ReadonlySet<string>;
  outbox: OutboxRow[];
  open: OpenForm | null;
  kept: Kept;
  busy: boolean;
  note: Note;
  /** Lookup of a person whose proof is no longer accepted. */
  stale: ReadonlySet<string>;
  /** Why the last look for new forms did not go through. */
  unreached: Why | null;
  /** Why the last try to send did not go through. */
  held_up: Why | null;
  sending: boolean;
}

export interface World {
  storage: Storage;
  clinic: Clinic;
  languages: string[];
  post: Post;
  now(): Date;
  chance(): number;
  loadSeal(): Promise<SealPoint>;
  loadWords(language: string): Promise<Words>;
  build: string;
  device: { screen: string; browser: string };
  time_zone: string | null;
  /** Runs `work` after `ms`; gives back how to call it off. */
  later(work: () => void, ms: number): () => void;
}

export class Phone {
  /** Resolves when what this phone keeps has been read. */
  ready: Promise<void> = Promise.resolve();
  /** The link's bytes, only until a birth date has been accepted. */
  token: Bytes | null = null;
  pending: LinkKeys | null = null;
  tries = 0;
  /** The first screen with its cautions was shown since the page was loaded. */
  greeted = false;
  sendTries = 0;
  callOff: () => void = () => undefined;
  saving: Promise<boolean> = Promise.resolve(true);
  queued: Promise<boolean> | null = null;
  /** Holds sealed forms that the disk would not take, until they are received or the page is closed. */
  readonly spare: Tables = memoryTables();
  onChange: (view: View) => void = () => undefined;
  readonly words = new Map<string, Words>([["en", en]]);
  view: View;

  constructor(readonly world: World) {
    this.view = {
      screen: { name: "nolink" },
      language: "en",
      chosen: false,
      people: [],
      begun: new Set(),
      outbox: [],
      open: null,
      kept: "none",
      busy: false,
      note: null,
      stale: new Set(),
      unreached: null,
      held_up: null,
      sending: false,
    };
  }

  get tables(): Tables {
    return this.world.storage.tables;
  }

  instant(): string {
    return this.world.now().toISOString();
  }

  /** The calendar day where the phone is, by its clock put right by `skew_ms`, which is phone time minus server time. */
  today(skew_ms: number | null = 0): string {
    const now = new Date(this.world.now().getTime() - (skew_ms ?? 0));
    return `${now.getFullYear()}-${String(now.getMonth() + 1).padStart(2, "0")}-${String(now.getDate()).padStart(2, "0")}`;
  }

  /** Goes over to a language once its words are here; without network they may not be, and nothing changes. */
  async speak(language: string): Promise<void> {
    try {
      if (!this.words.has(language)) this.words.set(language, await this.world.loadWords(language));
      this.change({ language });
    } catch {
      this.change({});
    }
  }

  /** Without drawing: what follows at once will draw. */
  set(patch: Partial<View>): void {
    this.view = { ...this.view, ...patch };
  }

  change(patch: Partial<View>): void {
    this.set(patch);
    this.onChange(this.view);
  }

  go(screen: Screen): void {
    this.change({ screen, busy: false });
  }
}

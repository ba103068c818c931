/** What the disk refused or has lost: kept until the page is closed, sent from here, and offered to the disk again. */
import type { Draft } from "./drafts";
import type { Person } from "./people";
import { memoryTables, type Tables } from "./tables";

export class InMemory {
  readonly people = new Map<string, Person>();
  readonly drafts = new Map<string, Draft>();
  readonly outbox: Tables = memoryTables();
}

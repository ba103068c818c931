/** The tables in IndexedDB. */
import { type DBSchema, type IDBPDatabase, openDB } from "idb";
import { Conflict, isStale, KEY_OF, keyOf, type DraftRow, type Op, type Rows, type TableName, type Tables } from "./tables";

interface Schema extends DBSchema {
  people: { key: string; value: Rows["people"] };
  drafts: { key: string; value: Rows["drafts"] };
  outbox: { key: string; value: Rows["outbox"] };
}
type Handle = IDBPDatabase<Schema>;

const NAMES: TableName[] = ["people", "drafts", "outbox"];
/** Some iOS versions never answer the first open; a second one works. */
const OPEN_WITHIN_MS = 4000;

export class NoStorage extends Error {}

function within<T>(promise: Promise<T>, ms: number): Promise<T> {
  return new Promise((resolve, reject) => {
    const timer = setTimeout(() => reject(new NoStorage("open timed out")), ms);
    promise.then(resolve, reject).finally(() => clearTimeout(timer));
  });
}

class Database implements Tables {
  private handle: Promise<Handle> | null = null;

  constructor(private readonly name: string) {}

  private connect(): Promise<Handle> {
    const drop = (): void => {
      this.handle = null;
    };
    this.handle ??= within(
      openDB<Schema>(this.name, 1, {
        upgrade(db) {
          for (const table of NAMES) db.createObjectStore(table, { keyPath: KEY_OF[table] });
        },
        // Another tab holds a newer version of the app: let it go on, reopen when next needed.
        blocking(_current, _blocked, event) {
          (event.target as IDBDatabase).close();
          drop();
        },
        terminated: drop,
      }),
      OPEN_WITHIN_MS,
    ).catch((fault: unknown) => {
      drop();
      throw fault;
    });
    return this.handle;
  }

  /** iOS drops the connection to its database process at times ("Connection to Indexed Database server lost"): reopen, try once more. */
  private async once<T>(work: (db: Handle) => Promise<T>): Promise<T> {
    try {
      return await work(await this.connect());
    } catch (fault) {
      if (fault instanceof Conflict || (fault as Error).name === "QuotaExceededError") throw fault;
      this.handle?.then((db) => db.close()).catch(() => undefined);
      this.handle = null;
      return work(await this.connect());
    }
  }

  get<T extends TableName>(table: T, key: string): Promise<Rows[T] | undefined> {
    return this.once(async (db) => (await db.get(table, key)) as Rows[T] | undefined);
  }

  all<T extends TableName>(table: T): Promise<Rows[T][]> {
    return this.once(async (db) => (await db.getAll(table)) as Rows[T][]);
  }

  /**
   * One transaction, flushed to disk before the promise resolves. Checks and writes are queued together and committed
   * explicitly, which saves two turns between the page and the database's process; a stale check takes all back.
   */
  write(ops: Op[]): Promise<void> {
    return this.once(async (db) => {
      const names = [...new Set(ops.map((op) => op.table))];
      const change = db.transaction(names, "readwrite", { durability: "strict" });
      const done = change.done;
      done.catch(() => undefined);
      const queue = async (op: Op): Promise<void> => {
        const store = change.objectStore(op.table);
        const stored = op.based_on === undefined ? undefined : store.get(keyOf(op));
        const written = "remove" in op ? store.delete(op.remove) : store.put(op.put);
        written.catch(() => undefined);
        if (stored && isStale(op, (await stored) as DraftRow | undefined)) throw new Conflict();
      };
      try {
        await Promise.all(ops.map(queue));
        change.commit?.();
      } catch (fault) {
        // A row that cannot be stored at all throws before the others are done; they must not be committed without it.
        change.abort();
        throw fault;
      }
      await done;
    });
  }
}

export function idbTables(name = "yearmark"): Tables {
  return new Database(name);
}

/** The tables in IndexedDB. */
import { type DBSchema, type IDBPDatabase, openDB } from "idb";
import { Conflict, type DraftRow, isOutdated, KEY_OF, keyOf, type Rows, type TableName, type Tables, type WriteOp } from "./tables";

interface Schema extends DBSchema {
  people: { key: string; value: Rows["people"] };
  drafts: { key: string; value: Rows["drafts"] };
  outbox: { key: string; value: Rows["outbox"] };
}
type Connection = IDBPDatabase<Schema>;

const NAMES: TableName[] = ["people", "drafts", "outbox"];
/** Some iOS versions never answer the first open; a second one works. */
const OPEN_WITHIN_MS = 4000;

export class OpenTimedOut extends Error {}

function withTimeout<T>(promise: Promise<T>, ms: number): Promise<T> {
  return new Promise((resolve, reject) => {
    const timer = setTimeout(() => reject(new OpenTimedOut("open timed out")), ms);
    promise.then(resolve, reject).finally(() => clearTimeout(timer));
  });
}

class Database implements Tables {
  private handle: Promise<Connection> | null = null;

  constructor(
    private readonly name: string,
    private readonly onLost: () => void,
  ) {}

  private connect(): Promise<Connection> {
    const drop = (): void => {
      this.handle = null;
    };
    this.handle ??= withTimeout(
      openDB<Schema>(this.name, 1, {
        upgrade(db) {
          for (const table of NAMES) db.createObjectStore(table, { keyPath: KEY_OF[table] });
        },
        // Another tab holds a newer version of the app: let it go on, reopen when next needed.
        blocking(_current, _blocked, event) {
          (event.target as IDBDatabase).close();
          drop();
        },
        terminated: () => {
          drop();
          this.onLost();
        },
      }),
      OPEN_WITHIN_MS,
    ).catch((fault: unknown) => {
      drop();
      throw fault;
    });
    return this.handle;
  }

  /** iOS drops the connection to its database process at times ("Connection to Indexed Database server lost"): reopen, try once more. */
  private async withReconnect<T>(work: (db: Connection) => Promise<T>): Promise<T> {
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
    return this.withReconnect(async (db) => (await db.get(table, key)) as Rows[T] | undefined);
  }

  all<T extends TableName>(table: T): Promise<Rows[T][]> {
    return this.withReconnect(async (db) => (await db.getAll(table)) as Rows[T][]);
  }

  /**
   * One transaction, flushed to disk before the promise resolves. Checks and writes are queued together and committed
   * explicitly, which saves two round trips to the database's process; a failed check aborts the transaction.
   */
  write(ops: WriteOp[]): Promise<void> {
    return this.withReconnect(async (db) => {
      const names = [...new Set(ops.map((op) => op.table))];
      const change = db.transaction(names, "readwrite", { durability: "strict" });
      const done = change.done;
      done.catch(() => undefined);
      const queue = async (op: WriteOp): Promise<void> => {
        const store = change.objectStore(op.table);
        const stored = op.based_on === undefined ? undefined : store.get(keyOf(op));
        stored?.catch(() => undefined);
        const written = "remove" in op ? store.delete(op.remove) : store.put(op.put);
        written.catch(() => undefined);
        if (stored && isOutdated(op, (await stored) as DraftRow | undefined)) throw new Conflict();
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

/** `onLost`: the browser has closed the database by itself, as it does when the site's data are deleted. */
export function indexedDbTables(onLost: () => void = () => undefined): Tables {
  return new Database("yearmark", onLost);
}

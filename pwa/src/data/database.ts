/**
 * The phone's database: what is in it, how it is opened, and what happens when the
 * platform takes it away. The rest of src/data speaks to it through `Database.run`.
 *
 * Facts and the queue to the server are written with strict durability: complete
 * means flushed. A connection that died in the background is opened anew and the
 * work tried once more, so all work given to `run` must be safe to repeat.
 */
import { openDB, type DBSchema, type IDBPDatabase, type IDBPTransaction, type StoreNames } from 'idb';
import { Fault } from '../core/fault';
import type { Basis, Check, CheckEvent } from '../schema';

export const DATABASE_NAME = 'brimline';
const DATABASE_VERSION = 1;

/** Bytes kept back so that a running check can be ended when the disk is full. */
const RESERVE_ROWS = 8;
const RESERVE_ROW_BYTES = 256 * 1024;
/** The platform gives random bytes in portions of at most this size. */
const RANDOM_BYTES = 65_536;

export interface EventRow {
  check_id: string;
  n: number;
  hash: string;
  event: CheckEvent;
}

/** One change on its way to the server. `body` is as it will be sent. */
export interface OutboxEntry {
  id: string;
  dseq: number;
  kind: 'event' | 'reminder';
  v: number;
  body: unknown;
  size_bytes: number;
  state: 'waiting' | 'refused';
  /** Why the server refused or deferred it. */
  code?: string;
  detail?: string;
  check_id?: string;
  made_ms: number;
  person_id: string;
  workshop_id: string;
  /** How often and since when the server itself failed over this change, and when to try again. */
  fails?: number;
  first_fail_ms?: number;
  not_before_ms?: number;
}

/**
 * A change the server has on disk. It is kept for a while: a server that was restored
 * from a backup may have lost it and is sent it again.
 */
export interface SentRow {
  id: string;
  seq: number;
  held_ms: number;
  entry: OutboxEntry;
}

export interface RecordRow {
  kind: string;
  id: string;
  v: number;
  /** The server's number of this state; 0: made here and not pulled yet. */
  seq: number;
  /** The download it came with. A download from the beginning replaces those before it. */
  round: number;
  body: unknown;
  /** Of a document that phones may change: the server's state, without what is not sent yet. */
  base?: unknown;
}

/** How far this phone has followed the server. Written only together with what was pulled. */
export interface SyncMark {
  cursor: string;
  epoch: string;
  round: number;
  last_ok_ms: number | null;
}

export interface CheckEntry {
  id: string;
  /** Made on this phone; only then may it be continued here. */
  ours: boolean;
  person_id: string;
  head: { n: number; hash: string };
  summary: Check;
  /** Calendar time of the last event, Unix milliseconds. */
  last_ms: number;
  /** The download a check of another phone came with. */
  round?: number;
  /** What the check began with. Later editions of the profile do not touch it. */
  basis?: Basis;
}

export interface Shape extends DBSchema {
  events: { key: [string, number]; value: EventRow };
  outbox: { key: string; value: OutboxEntry; indexes: { dseq: number } };
  sent: { key: string; value: SentRow };
  records: { key: [string, string]; value: RecordRow };
  checks: { key: string; value: CheckEntry; indexes: { vehicle: string } };
  meta: { key: string; value: unknown };
  reserve: { key: number; value: ArrayBuffer };
}

export type Stores = StoreNames<Shape>[];
export type Writing<Names extends Stores> = IDBPTransaction<Shape, Names, 'readwrite'>;
export type Connection = IDBPDatabase<Shape>;

function upgrade(db: Connection): void {
  db.createObjectStore('events', { keyPath: ['check_id', 'n'] });
  db.createObjectStore('outbox', { keyPath: 'id' }).createIndex('dseq', 'dseq');
  db.createObjectStore('sent', { keyPath: 'id' });
  db.createObjectStore('records', { keyPath: ['kind', 'id'] });
  db.createObjectStore('checks', { keyPath: 'id' }).createIndex('vehicle', 'summary.vehicle_id');
  db.createObjectStore('meta');
  db.createObjectStore('reserve');
}

export class Database {
  #connection: Promise<Connection> | undefined;
  readonly #name: string;
  /** Told once when a write failed for want of space and the reserve was freed. */
  onFull: () => void = () => undefined;

  constructor(name = DATABASE_NAME) {
    this.#name = name;
  }

  /**
   * Does `work` on an open connection; once more on a fresh one where the platform
   * dropped it, and once more after freeing the reserve where the disk is full.
   * Rejects with `storage.stopped`, `storage.full`, `storage.blocked` or the fault of `work`.
   */
  async run<T>(work: (db: Connection) => Promise<T>): Promise<T> {
    try {
      return await work(await this.#open());
    } catch (x) {
      if (isFull(x)) return this.#runOnReserve(work);
      if (!isLost(x)) throw x;
    }
    this.close();
    try {
      return await work(await this.#open());
    } catch (x) {
      throw isLost(x) ? new Fault('storage.stopped', '', `storage stopped; reopen the app (${nameOf(x)})`) : x;
    }
  }

  /**
   * One transaction with strict durability. Resolves only when it is complete on disk.
   * A rejection of `work` undoes everything it wrote.
   */
  write<T, Names extends Stores>(names: Names, work: (tx: Writing<Names>) => Promise<T>): Promise<T> {
    return this.run(async (db) => {
      const tx = db.transaction(names, 'readwrite', { durability: 'strict' });
      // The outcome of the whole transaction is awaited below; an abort must not surface twice.
      tx.done.catch(() => undefined);
      let value: T;
      try {
        value = await work(tx);
      } catch (x) {
        try {
          tx.abort();
        } catch {
          // Already over: the failure that ended it is the one to report.
        }
        throw x;
      }
      await tx.done;
      return value;
    });
  }

  close(): void {
    const connection = this.#connection;
    this.#connection = undefined;
    void connection?.then((db) => db.close()).catch(() => undefined);
  }

  /** Writes, reads back and deletes one row. Rejects where the browser keeps nothing. */
  async prove(): Promise<void> {
    const mark = crypto.getRandomValues(new Uint32Array(1))[0];
    await this.write(['meta'], async (tx) => void (await tx.objectStore('meta').put(mark, 'probe')));
    const found = await this.run((db) => db.get('meta', 'probe'));
    if (found !== mark) throw new Fault('storage.stopped', '', 'storage does not keep what is written');
    await this.run((db) => db.delete('meta', 'probe'));
  }

  /** Fills the reserve. Resolves to false where there is no room for it. */
  async fillReserve(): Promise<boolean> {
    try {
      await (await this.#open()).count('reserve').then(async (held) => {
        for (let row = held; row < RESERVE_ROWS; row++) {
          await (await this.#open()).put('reserve', noise(RESERVE_ROW_BYTES), row);
        }
      });
      return true;
    } catch {
      return false;
    }
  }

  async #runOnReserve<T>(work: (db: Connection) => Promise<T>): Promise<T> {
    this.onFull();
    try {
      await (await this.#open()).clear('reserve');
      return await work(await this.#open());
    } catch (x) {
      throw isFull(x) ? new Fault('storage.full', '', 'the phone is full; free some space and try again') : x;
    }
  }

  #open(): Promise<Connection> {
    this.#connection ??= this.#connect();
    return this.#connection;
  }

  #connect(): Promise<Connection> {
    return new Promise<Connection>((opened, failed) => {
      const opening: Promise<Connection> = openDB<Shape>(this.#name, DATABASE_VERSION, {
        upgrade,
        // An older version of the app in another tab holds the database: the person must close it.
        blocked: () => {
          this.#connection = undefined;
          failed(new Fault('storage.blocked', '', 'close the other tabs of this app and try again'));
        },
        // A newer version in another tab wants to upgrade: we step aside and open again at need.
        blocking: () => this.close(),
        terminated: () => {
          this.#connection = undefined;
        },
      });
      opening.then(opened, (x: unknown) => {
        this.#connection = undefined;
        failed(x);
      });
    });
  }
}

function nameOf(x: unknown): string {
  return typeof x === 'object' && x !== null && 'name' in x ? String(x.name) : String(x);
}

/** An abort carries the reason in its own name only sometimes; idb rejects with the transaction's error. */
function isFull(x: unknown): boolean {
  return nameOf(x) === 'QuotaExceededError';
}

/** What browsers throw when the connection is gone, mostly after the app lay in the background. */
function isLost(x: unknown): boolean {
  return ['UnknownError', 'InvalidStateError', 'AbortError'].includes(nameOf(x));
}

/** Bytes that no storage engine can press together. */
function noise(sizeBytes: number): ArrayBuffer {
  const bytes = new Uint8Array(sizeBytes);
  for (let at = 0; at < sizeBytes; at += RANDOM_BYTES) {
    crypto.getRandomValues(bytes.subarray(at, Math.min(at + RANDOM_BYTES, sizeBytes)));
  }
  return bytes.buffer;
}

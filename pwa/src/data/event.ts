/**
 * Appending to the log of a check: the one write that must never be lost, torn or
 * doubled. Event, place in the chain, outbox and summary are one strict transaction.
 */
import { Fault } from '../core/fault';
import type { Basis, Check, CheckEvent } from '../schema';
import type { CheckEntry, Database, Writing } from './database';
import { queueChange, sizeOf, type Author, type Change } from './outbox';

/** One change to the server must not be larger; the server refuses it. */
export const MAX_CHANGE_BYTES = 64 * 1024;

export interface Append {
  event: CheckEvent;
  /** SHA-256 of the event's canonical JSON; the next event's prev. */
  hash: string;
  author: Author;
  /** The check as it stands after this event. */
  summary: Check;
  /** With the first event: what the check runs on from now on. */
  basis?: Basis;
  /** What follows from the event and must not come without it, such as a reminder. */
  also?: (tx: Writing<AppendStores>) => Promise<void>;
}

export type AppendStores = ['events', 'outbox', 'records', 'checks', 'meta'];
const STORES: AppendStores = ['events', 'outbox', 'records', 'checks', 'meta'];

/**
 * Stores one event. Resolves when it is on disk. An event that is already there with
 * the same hash is done, so that a repeated try after a lost answer is harmless.
 * Rejects with `check.elsewhere` where another tab appended meanwhile: nothing is
 * written and the log must be read again; with `event.long` where it is too large to send.
 */
export async function appendEvent(db: Database, append: Append): Promise<void> {
  const { event, hash } = append;
  if (sizeOf(event) > MAX_CHANGE_BYTES) {
    throw new Fault('event.long', 'body', 'is too long for one entry; shorten it');
  }
  await db.write(STORES, async (tx) => {
    const checks = tx.objectStore('checks');
    const held = await checks.get(event.check_id);
    const head = held?.head ?? { n: 0, hash: '' };
    if (head.n === event.n && head.hash === hash) return;
    if (head.n !== event.n - 1 || head.hash !== event.prev) {
      throw new Fault('check.elsewhere', 'n', 'this check went on in another window; look at it again');
    }
    const entry = entryAfter(held, append);
    const change: Change = { id: event.id, kind: 'event', v: 1, body: event, check_id: event.check_id };
    await tx.objectStore('events').add({ check_id: event.check_id, n: event.n, hash, event });
    await queueChange(tx, change, append.author, event.wall_ms);
    await checks.put(entry);
    await append.also?.(tx);
  });
}

function entryAfter(held: CheckEntry | undefined, append: Append): CheckEntry {
  const basis = held?.basis ?? append.basis;
  return {
    id: append.event.check_id,
    ours: true,
    person_id: held?.person_id ?? append.author.person_id,
    head: { n: append.event.n, hash: append.hash },
    summary: append.summary,
    last_ms: append.event.wall_ms,
    ...(basis === undefined ? {} : { basis }),
  };
}

/** The log of one check in order. */
export async function eventsOf(db: Database, checkID: string): Promise<CheckEvent[]> {
  const range = IDBKeyRange.bound([checkID], [checkID, []]);
  return (await db.run((open) => open.getAll('events', range))).map((row) => row.event);
}

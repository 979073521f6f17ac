/**
 * The queue to the server. Rows carry who made them and where: another person's rows
 * stay on the phone until that person signs in again. Nothing leaves the queue before
 * the server answered for it by its id.
 */
import type { Database, OutboxEntry, Stores, Writing } from './database';

export interface Author {
  person_id: string;
  workshop_id: string;
}

export interface Change {
  id: string;
  kind: OutboxEntry['kind'];
  v: number;
  body: unknown;
  check_id?: string;
}

/** Bytes of a value as it will travel. */
export function sizeOf(value: unknown): number {
  return new TextEncoder().encode(JSON.stringify(value)).length;
}

/** Puts a change in the queue under the phone's next number, in the caller's transaction. */
export async function queueChange<Names extends Stores>(
  tx: Writing<Names>,
  change: Change,
  author: Author,
  madeMS: number,
): Promise<OutboxEntry> {
  const store = tx as unknown as Writing<['meta', 'outbox']>;
  const last = await store.objectStore('meta').get('dseq');
  const dseq = (typeof last === 'number' ? last : 0) + 1;
  const entry: OutboxEntry = {
    ...change,
    ...author,
    dseq,
    size_bytes: sizeOf(change.body),
    state: 'waiting',
    made_ms: madeMS,
  };
  await store.objectStore('outbox').add(entry);
  await store.objectStore('meta').put(dseq, 'dseq');
  return entry;
}

/** All rows in the order they were made. */
export function outboxRows(db: Database): Promise<OutboxEntry[]> {
  return db.run((open) => open.getAllFromIndex('outbox', 'dseq'));
}

export function isOf(row: OutboxEntry, author: Author | null): boolean {
  return author !== null && row.person_id === author.person_id && row.workshop_id === author.workshop_id;
}

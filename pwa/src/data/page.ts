/**
 * Storing what was pulled. A page and the cursor behind it are one strict transaction,
 * so the cursor never stands ahead of the data. Facts of this phone's own checks and
 * the outbox are never touched.
 */
import type { Check, CheckEvent, Profile, Reminder } from '../schema';
import type { Database, OutboxEntry, SyncMark, Writing } from './database';
import type { Author } from './outbox';
import { isOf } from './outbox';
import { EDITION_KIND, editionID } from './records';
import { overlaid } from './reminder';

export interface Item {
  seq: number;
  kind: string;
  v: number;
  id: string;
  deleted?: boolean;
  body?: unknown;
}

export interface Page {
  items: Item[];
  cursor: string;
  epoch: string;
  /** More pages follow. */
  more: boolean;
  nowMS: number;
}

type PageStores = ['records', 'events', 'checks', 'outbox', 'meta'];
const STORES: PageStores = ['records', 'events', 'checks', 'outbox', 'meta'];

/** Held changes older than this are not sent again after a restore of the server. */
const SENT_KEPT_MS = 90 * 24 * 60 * 60 * 1000;

export const NO_MARK: SyncMark = { cursor: '', epoch: '', round: 1, last_ok_ms: null };

export async function syncMark(db: Database): Promise<SyncMark> {
  return ((await db.run((open) => open.get('meta', 'sync'))) as SyncMark | undefined) ?? NO_MARK;
}

/** Resolves when the page and its cursor are on disk. */
export function applyPage(db: Database, page: Page): Promise<void> {
  return db.write(STORES, async (tx) => {
    const mark = ((await tx.objectStore('meta').get('sync')) as SyncMark | undefined) ?? NO_MARK;
    const outbox = await tx.objectStore('outbox').index('dseq').getAll();
    for (const item of page.items) await applyItem(tx, item, mark.round, outbox);
    if (!page.more) await settle(tx, mark.round, outbox);
    const next: SyncMark = { ...mark, cursor: page.cursor, epoch: page.epoch, last_ok_ms: page.nowMS };
    await tx.objectStore('meta').put(next, 'sync');
  });
}

async function applyItem(tx: Writing<PageStores>, item: Item, round: number, outbox: OutboxEntry[]): Promise<void> {
  if (item.kind === 'event') return applyEvent(tx, item.body as CheckEvent);
  if (item.kind === 'check') return applyCheck(tx, item, round);
  const records = tx.objectStore('records');
  if (item.deleted === true) return records.delete([item.kind, item.id]);
  const row = { kind: item.kind, id: item.id, v: item.v, seq: item.seq, round, body: item.body };
  if (item.kind === 'reminder') {
    const base = item.body as Reminder;
    await records.put({ ...row, base, body: overlaid(base, item.id, outbox) });
    return;
  }
  // A kind of a later version of the app is kept as it came.
  await records.put(row);
  if (item.kind === 'profile') {
    const edition = (item.body as Profile).edition;
    await records.put({ ...row, kind: EDITION_KIND, id: editionID(item.id, edition) });
  }
}

/** An event that is held already stays as it is: events are never edited. */
async function applyEvent(tx: Writing<PageStores>, event: CheckEvent): Promise<void> {
  const events = tx.objectStore('events');
  const key: [string, number] = [event.check_id, event.n];
  if ((await events.getKey(key)) === undefined) {
    await events.put({ check_id: event.check_id, n: event.n, hash: '', event });
  }
}

async function applyCheck(tx: Writing<PageStores>, item: Item, round: number): Promise<void> {
  const checks = tx.objectStore('checks');
  const held = await checks.get(item.id);
  if (held?.ours === true) return;
  if (item.deleted === true) return checks.delete(item.id);
  const summary = item.body as Check;
  await checks.put({
    id: item.id,
    ours: false,
    person_id: summary.person_id,
    head: { n: summary.events, hash: '' },
    summary,
    last_ms: summary.ended_ms ?? summary.started_ms,
    round,
  });
}

/**
 * The phone has seen all the server holds: what an earlier download left and this one did
 * not bring is gone on the server, and edits that lost there show what won.
 */
async function settle(tx: Writing<PageStores>, round: number, outbox: OutboxEntry[]): Promise<void> {
  const records = tx.objectStore('records');
  for (const row of await records.getAll()) {
    if (row.kind === EDITION_KIND) continue;
    const fromServer = row.seq > 0;
    if (fromServer && row.round < round) {
      await records.delete([row.kind, row.id]);
    } else if (row.kind === 'reminder' && fromServer) {
      await records.put({ ...row, body: overlaid(row.base as Reminder, row.id, outbox) });
    }
  }
  for (const entry of await tx.objectStore('checks').getAll()) {
    if (!entry.ours && (entry.round ?? 0) < round) await tx.objectStore('checks').delete(entry.id);
  }
}

/**
 * The server is not the one the cursor came from. The download begins anew, replacing the
 * documents only once it is complete, and what the server had of this person goes back
 * into the outbox: sending it again is harmless. Returns when that is on disk.
 */
export function resetDownload(db: Database, author: Author | undefined): Promise<void> {
  return db.write(['outbox', 'sent', 'meta'], async (tx) => {
    for (const row of await tx.objectStore('sent').getAll()) {
      if (!isOf(row.entry, author ?? null)) continue;
      await tx.objectStore('outbox').put({ ...row.entry, state: 'waiting' });
      await tx.objectStore('sent').delete(row.id);
    }
    const mark = ((await tx.objectStore('meta').get('sync')) as SyncMark | undefined) ?? NO_MARK;
    await tx.objectStore('meta').put({ ...mark, cursor: '', epoch: '', round: mark.round + 1 }, 'sync');
  });
}

/** Forgets held changes that are too old to be sent again. */
export function pruneSent(db: Database, nowMS: number): Promise<void> {
  return db.write(['sent'], async (tx) => {
    for (const row of await tx.objectStore('sent').getAll()) {
      if (nowMS - row.held_ms > SENT_KEPT_MS) await tx.objectStore('sent').delete(row.id);
    }
  });
}

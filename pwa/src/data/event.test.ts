import { openDB } from 'idb';
import { beforeEach, describe, expect, test } from 'vitest';
import { Fault } from '../core/fault';
import type { Check, CheckEvent } from '../schema';
import { Database } from './database';
import { appendEvent, eventsOf, type Append } from './event';
import { outboxRows } from './outbox';

const CHECK_ID = '01900000-0000-7000-8000-00000000f001';
const AUTHOR = { person_id: 'p1', workshop_id: 'w1' };

let name = '';
let db: Database;
let count = 0;

beforeEach(() => {
  name = `event-test-${count++}`;
  db = new Database(name);
});

function event(n: number, prev: string, text = ''): CheckEvent {
  const id = `01900000-0000-7000-8000-${String(n).padStart(12, '0')}`;
  const body = { text };
  return { id, check_id: CHECK_ID, n, prev, kind: 'note.written', v: 1, wall_ms: 1000 + n, mono_ms: n, boot: 'b', body };
}

function append(n: number, prev: string, hash: string, more: Partial<Append> = {}): Append {
  const summary = { id: CHECK_ID, vehicle_id: 'v1', events: n } as Check;
  return { event: event(n, prev), hash, author: AUTHOR, summary, ...more };
}

async function kept(of: Database) {
  const [events, outbox, check, dseq] = await Promise.all([
    eventsOf(of, CHECK_ID),
    outboxRows(of),
    of.run((open) => open.get('checks', CHECK_ID)),
    of.run((open) => open.get('meta', 'dseq')),
  ]);
  return { events: events.map((e) => e.n), outbox: outbox.map((row) => row.dseq), head: check?.head, dseq };
}

async function codeOf(work: Promise<unknown>): Promise<string> {
  try {
    await work;
  } catch (x) {
    return x instanceof Fault ? x.code : String(x);
  }
  return 'done';
}

describe('appending', () => {
  test('stores event, outbox row, number and head together', async () => {
    await appendEvent(db, append(1, '', 'h1'));
    await appendEvent(db, append(2, 'h1', 'h2'));
    expect(await kept(db)).toEqual({ events: [1, 2], outbox: [1, 2], head: { n: 2, hash: 'h2' }, dseq: 2 });
    const [row] = await outboxRows(db);
    expect(row).toMatchObject({ kind: 'event', state: 'waiting', check_id: CHECK_ID, made_ms: 1001, ...AUTHOR });
    expect(row?.size_bytes).toBe(JSON.stringify(event(1, '')).length);
  });

  test('what fails at the end leaves nothing of what was written before it', async () => {
    await appendEvent(db, append(1, '', 'h1'));
    const before = await kept(db);
    const torn = append(2, 'h1', 'h2', { also: () => Promise.reject(new Error('pulled the plug')) });
    expect(await codeOf(appendEvent(db, torn))).toBe('Error: pulled the plug');
    expect(await kept(db)).toEqual(before);
    await appendEvent(db, append(2, 'h1', 'h2'));
    expect((await kept(db)).outbox).toEqual([1, 2]);
  });

  test('a row that cannot be queued keeps its event out, too', async () => {
    await appendEvent(db, append(1, '', 'h1'));
    const [row] = await outboxRows(db);
    if (row === undefined) throw new Error('no row');
    await db.run((open) => open.put('outbox', { ...row, id: event(2, '').id, dseq: 99 }));
    expect(await codeOf(appendEvent(db, append(2, 'h1', 'h2')))).toContain('ConstraintError');
    expect(await kept(db)).toMatchObject({ events: [1], head: { n: 1, hash: 'h1' }, dseq: 1 });
  });

  test.each([
    ['a hole', append(3, 'h2', 'h3')],
    ['another past', append(2, 'other', 'h2')],
    ['a second beginning', append(1, '', 'other')],
  ])('%s is refused and nothing is written', async (_name, wrong) => {
    await appendEvent(db, append(1, '', 'h1'));
    const before = await kept(db);
    expect(await codeOf(appendEvent(db, wrong))).toBe('check.elsewhere');
    expect(await kept(db)).toEqual(before);
  });

  test('the same event once more is done already', async () => {
    await appendEvent(db, append(1, '', 'h1'));
    await appendEvent(db, append(1, '', 'h1'));
    expect(await kept(db)).toEqual({ events: [1], outbox: [1], head: { n: 1, hash: 'h1' }, dseq: 1 });
  });

  test('of two tabs that append the same place only one succeeds', async () => {
    const other = new Database(name);
    await appendEvent(db, append(1, '', 'h1'));
    const mine = append(2, 'h1', 'mine');
    const theirs = append(2, 'h1', 'theirs');
    theirs.event = { ...theirs.event, id: '01900000-0000-7000-8000-0000000000ff' };
    const codes = await Promise.all([codeOf(appendEvent(db, mine)), codeOf(appendEvent(other, theirs))]);
    expect(codes.sort()).toEqual(['check.elsewhere', 'done']);
    expect(await kept(db)).toMatchObject({ events: [1, 2], outbox: [1, 2], dseq: 2 });
  });

  test('an event too large to send is refused before it is stored', async () => {
    const long = append(1, '', 'h1');
    long.event = event(1, '', 'x'.repeat(65 * 1024));
    expect(await codeOf(appendEvent(db, long))).toBe('event.long');
    expect((await kept(db)).events).toEqual([]);
  });
});

describe('the database', () => {
  test('a connection that died in the background is opened anew, once', async () => {
    await appendEvent(db, append(1, '', 'h1'));
    await db.run(async (open) => open.close());
    await appendEvent(db, append(2, 'h1', 'h2'));
    expect((await kept(db)).events).toEqual([1, 2]);
  });

  test('a connection that dies again is reported, not retried for ever', async () => {
    let tries = 0;
    const dead = db.run(() => {
      tries++;
      return Promise.reject(new DOMException('gone', 'UnknownError'));
    });
    expect(await codeOf(dead)).toBe('storage.stopped');
    expect(tries).toBe(2);
  });

  test('a full disk frees the reserve and the write goes through', async () => {
    expect(await db.fillReserve()).toBe(true);
    expect(await db.run((open) => open.count('reserve'))).toBe(8);
    let told = 0;
    db.onFull = () => told++;
    let full = true;
    const also = (): Promise<void> => {
      if (!full) return Promise.resolve();
      full = false;
      return Promise.reject(new DOMException('full', 'QuotaExceededError'));
    };
    await appendEvent(db, append(1, '', 'h1', { also }));
    expect(await kept(db)).toEqual({ events: [1], outbox: [1], head: { n: 1, hash: 'h1' }, dseq: 1 });
    expect(told).toBe(1);
    expect(await db.run((open) => open.count('reserve'))).toBe(0);
  });

  test('a disk that stays full is a clear fault and nothing is written', async () => {
    const also = () => Promise.reject(new DOMException('full', 'QuotaExceededError'));
    expect(await codeOf(appendEvent(db, append(1, '', 'h1', { also })))).toBe('storage.full');
    expect(await kept(db)).toEqual({ events: [], outbox: [], head: undefined, dseq: undefined });
  });

  test('it steps aside for a newer version of the app in another tab', async () => {
    await appendEvent(db, append(1, '', 'h1'));
    const newer = await openDB(name, 2, { blocked: () => expect.unreachable('the old tab holds on') });
    expect(newer.version).toBe(2);
    newer.close();
  });

  test('proves that it keeps what is written', async () => {
    await db.prove();
    expect(await db.run((open) => open.get('meta', 'probe'))).toBeUndefined();
  });
});

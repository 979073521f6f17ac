import { beforeEach, describe, expect, test } from 'vitest';
import type { Check, CheckEvent, Reminder } from '../schema';
import { Database, type OutboxEntry } from './database';
import { appendEvent } from './event';
import { outboxRows } from './outbox';
import { applyPage, pruneSent, resetDownload, syncMark, type Item } from './page';
import { document, documents, profileEdition } from './records';
import { editReminder, nextStamp, overlaid, type Stamp } from './reminder';

const AUTHOR = { person_id: 'p1', workshop_id: 'w1' };
const R1: Reminder = { id: 'r1', vehicle_id: 'v1', rule: 'by_hand', due_date: '2026-06-01', reason: 'look' };

let db: Database;
let count = 0;
let seq = 0;

beforeEach(() => {
  db = new Database(`page-test-${count++}`);
  seq = 0;
});

const item = (kind: string, id: string, body: unknown, more: Partial<Item> = {}): Item => ({ seq: ++seq, kind, v: 1, id, body, ...more });

function pull(items: Item[], more = false, cursor = `${seq}.c`): Promise<void> {
  return applyPage(db, { items, cursor, epoch: 'e1', more, nowMS: 5 });
}

async function edit(fields: Partial<Reminder>, changeID: string): Promise<void> {
  await editReminder(db, 'r1', fields, { changeID, device: 'd', madeMS: 1, author: AUTHOR });
}

/** What the sync machine does when the server has a change. */
async function held(id: string): Promise<void> {
  await db.write(['outbox', 'sent'], async (tx) => {
    const row = await tx.objectStore('outbox').get(id);
    if (row === undefined) throw new Error(`no row ${id}`);
    await tx.objectStore('sent').put({ id, seq: 1, held_ms: 1000, entry: row });
    await tx.objectStore('outbox').delete(id);
  });
}

describe('a page', () => {
  test('is stored with its cursor, current state over older state', async () => {
    await pull([item('vehicle', 'v1', { id: 'v1', label: 'old' }), item('vehicle', 'v2', { id: 'v2', label: 'two' })], true);
    await pull([item('vehicle', 'v1', { id: 'v1', label: 'new' }), item('vehicle', 'v2', null, { deleted: true })]);
    expect((await documents(db, 'vehicle')).map((v) => v.label)).toEqual(['new']);
    expect(await syncMark(db)).toEqual({ cursor: '4.c', epoch: 'e1', round: 1, last_ok_ms: 5 });
  });

  test('that cannot be stored whole moves neither data nor cursor', async () => {
    await pull([item('vehicle', 'v1', { id: 'v1', label: 'one' })]);
    const bad = item('event', 'x', { check_id: {}, n: 1 });
    await expect(pull([item('vehicle', 'v2', { id: 'v2', label: 'two' }), bad])).rejects.toThrow();
    expect((await documents(db, 'vehicle')).map((v) => v.id)).toEqual(['v1']);
    expect((await syncMark(db)).cursor).toBe('1.c');
  });

  test('keeps a kind of a later version as it came', async () => {
    await pull([item('hologram', 'h1', { shape: 'new' }, { v: 9 })]);
    expect(await db.run((base) => base.get('records', ['hologram', 'h1']))).toMatchObject({ v: 9, body: { shape: 'new' } });
  });

  test('keeps every edition of a profile', async () => {
    await pull([item('profile', 'f1', { id: 'f1', edition: 1, name: 'first' })]);
    await pull([item('profile', 'f1', { id: 'f1', edition: 2, name: 'second' })]);
    expect((await profileEdition(db, 'f1')).name).toBe('second');
    expect((await profileEdition(db, 'f1', 1)).name).toBe('first');
    await expect(profileEdition(db, 'f1', 3)).rejects.toMatchObject({ code: 'not_found' });
    expect((await documents(db, 'profile')).length).toBe(1);
  });

  test("never touches the facts of this phone's own check", async () => {
    const event = { id: 'e1', check_id: 'c1', n: 1, prev: '', kind: 'note.written', v: 1, wall_ms: 1, mono_ms: 1, boot: 'b', body: { text: 'mine' } } as CheckEvent;
    const summary = { id: 'c1', vehicle_id: 'v1', phase: 'run', events: 1 } as Check;
    await appendEvent(db, { event, hash: 'h1', author: AUTHOR, summary });
    await pull([item('event', 'e1', { ...event, body: { text: 'theirs' } }), item('check', 'c1', { ...summary, phase: 'done' }), item('check', 'c1', null, { deleted: true })]);
    const stored = await db.run((base) => base.get('events', ['c1', 1]));
    expect(stored).toMatchObject({ hash: 'h1', event: { body: { text: 'mine' } } });
    expect(await db.run((base) => base.get('checks', 'c1'))).toMatchObject({ ours: true, summary: { phase: 'run' } });
  });
});

describe('a reminder changed here', () => {
  test('shows the change over what is pulled meanwhile, and only the fields it changed', async () => {
    await pull([item('reminder', 'r1', R1)]);
    await edit({ due_date: '2026-07-01' }, 'ch1');
    await pull([item('reminder', 'r1', { ...R1, reason: 'look closely' })]);
    expect(await document(db, 'reminder', 'r1')).toEqual({ ...R1, due_date: '2026-07-01', reason: 'look closely' });
  });

  test('shows what won once the server has spoken', async () => {
    await pull([item('reminder', 'r1', R1)]);
    await edit({ due_date: '2026-07-01' }, 'ch1');
    await held('ch1');
    await pull([]); // the later edit of another phone won: nothing new comes
    expect((await document(db, 'reminder', 'r1'))?.due_date).toBe('2026-06-01');
  });

  test('made here and not sent yet survives a whole new download', async () => {
    await pull([item('vehicle', 'v1', { id: 'v1', label: 'one' })]);
    await db.run((base) => base.put('records', { kind: 'reminder', id: 'r1', v: 1, seq: 0, round: 0, body: R1 }));
    await resetDownload(db, AUTHOR);
    await pull([]);
    expect(await document(db, 'reminder', 'r1')).toEqual(R1);
  });

  test('overlays edits in the order they were made, without refused ones', () => {
    const row = (fields: Partial<Reminder>, state: OutboxEntry['state'] = 'waiting') =>
      ({ kind: 'reminder', state, body: { reminder: { ...R1, ...fields }, fields: Object.keys(fields) } }) as OutboxEntry;
    const outbox = [row({ reason: 'a' }), row({ reason: 'b' }), row({ due_date: '2027-01-01' }, 'refused')];
    expect(overlaid(R1, 'r1', outbox)).toEqual({ ...R1, reason: 'b' });
    expect(overlaid(R1, 'r2', outbox)).toEqual(R1);
    expect(overlaid(undefined, 'r9', outbox)).toBeUndefined();
  });
});

describe('a server with another history', () => {
  test('gets back what it had, and the old documents stay until the new ones are complete', async () => {
    await pull([item('vehicle', 'v1', { id: 'v1', label: 'one' }), item('vehicle', 'v2', { id: 'v2', label: 'two' }), item('reminder', 'r1', R1)]);
    await edit({ reason: 'mine' }, 'ch1');
    await held('ch1');
    expect(await outboxRows(db)).toEqual([]);
    await resetDownload(db, AUTHOR);
    expect((await outboxRows(db)).map((row) => [row.id, row.dseq, row.state])).toEqual([['ch1', 1, 'waiting']]);
    expect((await syncMark(db)).cursor).toBe('');
    expect((await documents(db, 'vehicle')).length).toBe(2);
    await pull([item('vehicle', 'v1', { id: 'v1', label: 'one again' })], true);
    expect((await documents(db, 'vehicle')).length).toBe(2);
    await pull([]);
    expect((await documents(db, 'vehicle')).map((v) => v.label)).toEqual(['one again']);
  });

  test("does not get another person's held changes from this one", async () => {
    await pull([item('reminder', 'r1', R1)]);
    await edit({ reason: 'mine' }, 'ch1');
    await held('ch1');
    await resetDownload(db, { ...AUTHOR, person_id: 'p2' });
    expect(await outboxRows(db)).toEqual([]);
    expect(await db.run((base) => base.count('sent'))).toBe(1);
  });

  test('held changes are forgotten after 90 days, not before', async () => {
    await pull([item('reminder', 'r1', R1)]);
    await edit({ reason: 'mine' }, 'ch1');
    await held('ch1');
    const day = 86_400_000;
    await pruneSent(db, 1000 + 90 * day);
    expect(await db.run((base) => base.count('sent'))).toBe(1);
    await pruneSent(db, 1001 + 90 * day);
    expect(await db.run((base) => base.count('sent'))).toBe(0);
  });
});

describe('stamps', () => {
  const last: Stamp = { wall_ms: 100, count: 4, device: 'd' };
  test.each([
    ['the first', undefined, 50, { wall_ms: 50, count: 0, device: 'd' }],
    ['a later moment', last, 101, { wall_ms: 101, count: 0, device: 'd' }],
    ['the same moment', last, 100, { wall_ms: 100, count: 5, device: 'd' }],
    ['a clock set back', last, 3, { wall_ms: 100, count: 5, device: 'd' }],
  ])('%s', (_name, before, wallMS, want) => expect(nextStamp(before, wallMS, 'd')).toEqual(want));
});

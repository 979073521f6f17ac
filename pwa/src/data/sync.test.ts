import { afterEach, beforeEach, describe, expect, test, vi } from 'vitest';
import { createCore } from '../core/bridge';
import { InProcessWorker } from '../core/inprocess';
import type { Clock } from '../device/clock';
import type { Moment } from '../schema';
import { Session } from '../session/session';
import { Database } from './database';
import { outboxRows, queueChange, type Author } from './outbox';
import { syncMark, type Item } from './page';
import { documents } from './records';
import { Sync } from './sync';

const ANN = { id: '01900000-0000-7000-8000-00000000b001', name: 'Ann', role: 'mechanic' } as const;
const TWO = { id: '01900000-0000-7000-8000-00000000a001', name: 'Two', time_zone: 'Europe/Berlin' };
const AUTHOR = { person_id: ANN.id, workshop_id: TWO.id };

interface SentChange {
  id: string;
  dseq: number;
}

/** A small server in memory: it answers as PROTOCOL.md says and can be made to fail. */
class Server {
  epoch = 'epoch-1';
  log: Item[] = [];
  held = new Map<string, SentChange>();
  refuse = new Map<string, string>();
  down: 'no' | 'silent' | 'portal' | 'swallow answers' = 'no';
  revoked = false;
  pushes: string[][] = [];

  fetcher = async (url: string, init: RequestInit): Promise<Response> => {
    if (this.down === 'silent') throw new TypeError('network error');
    if (this.down === 'portal') return new Response('<p>Welcome', { headers: { 'content-type': 'text/html' } });
    if (url.startsWith('/api/v1/session')) {
      if (this.revoked) return problem(401, 'session_revoked');
      return json({ access_token: 't', expires_in_s: 900, person: ANN, workshop: TWO, device_id: 'd' });
    }
    if (this.revoked) return problem(401, 'auth.invalid');
    if (url.startsWith('/api/v1/sync/pull')) return this.pull(new URL(url, 'http://two.example').searchParams);
    const answer = this.push(JSON.parse(String(init.body)) as { changes: SentChange[] });
    if (this.down === 'swallow answers') throw new TypeError('connection lost');
    return answer;
  };

  private pull(query: URLSearchParams): Response {
    const [number = '0', chain] = (query.get('cursor') || `0.${this.epoch}`).split('.');
    if (chain !== this.epoch) return problem(409, 'history_diverged');
    const items = this.log.filter((item) => item.seq > Number(number)).slice(0, 2);
    const last = items.at(-1)?.seq ?? Number(number);
    return json({ epoch: this.epoch, items, next: `${last}.${this.epoch}`, more: this.log.some((item) => item.seq > last) });
  }

  private push({ changes }: { changes: SentChange[] }): Response {
    this.pushes.push(changes.map((change) => change.id));
    const results = changes.map(({ id, dseq }) => {
      const code = this.refuse.get(id);
      if (code !== undefined) return { id, status: 'rejected', code, problem: { detail: 'says why' } };
      const status = this.held.has(id) ? 'duplicate' : 'applied';
      this.held.set(id, { id, dseq });
      return { id, status, seq: this.held.size };
    });
    return json({ epoch: this.epoch, server_ms: 1, results });
  }
}

const json = (body: unknown): Response => new Response(JSON.stringify(body), { headers: { 'content-type': 'application/json' } });
const problem = (status: number, code: string): Response =>
  new Response(JSON.stringify({ status, code, detail: code }), { status, headers: { 'content-type': 'application/problem+json' } });

class TestClock implements Clock {
  at: Moment = { wall_ms: 1_780_000_000_000, mono_ms: 0, boot: 'b' };
  now = (): Moment => ({ ...this.at });
  utcOffsetMin = (): number => 0;
}

const core = createCore(() => new InProcessWorker());
let db: Database;
let server: Server;
let session: Session;
let sync: Sync;
let clock: TestClock;
let count = 0;

beforeEach(async () => {
  db = new Database(`sync-test-${count++}`);
  server = new Server();
  clock = new TestClock();
  session = new Session({ db, clock, fetcher: server.fetcher, deviceName: 'phone', changed: () => undefined });
  await session.restore();
  await session.signIn('ann@two.example', 'a long password');
  sync = new Sync({ db, core, clock, session, appVersion: 'test', random: () => 0.5, changed: () => undefined });
});

afterEach(() => sync.stop());

async function queue(id: string, author: Author = AUTHOR): Promise<void> {
  await db.write(['outbox', 'meta'], async (tx) => {
    await queueChange(tx, { id, kind: 'event', v: 1, body: { id } }, author, 1);
  });
}

/** Starts the exchange and waits for the first round to end. */
async function begin(): Promise<void> {
  void sync.follow();
  await vi.waitFor(() => expect(sync.settled).toBe(true), { timeout: 3000 });
}

const waiting = async () => (await outboxRows(db)).filter((row) => row.state === 'waiting').map((row) => row.id);

describe('an exchange', () => {
  test('sends what waits, in order, and brings what is new, page by page', async () => {
    for (const id of ['c1', 'c2', 'c3']) await queue(id);
    for (let n = 1; n <= 5; n++) server.log.push({ seq: n, kind: 'vehicle', v: 1, id: `v${n}`, body: { id: `v${n}`, label: `${n}` } });
    await begin();
    expect(server.pushes).toEqual([['c1', 'c2', 'c3']]);
    expect(await outboxRows(db)).toEqual([]);
    expect(await db.run((base) => base.count('sent'))).toBe(3);
    expect((await documents(db, 'vehicle')).length).toBe(5);
    expect(await syncMark(db)).toMatchObject({ cursor: '5.epoch-1', epoch: 'epoch-1' });
    expect(sync.mode).toBe('idle');
  });

  test("leaves another person's changes where they are", async () => {
    await queue('hers', { ...AUTHOR, person_id: '01900000-0000-7000-8000-00000000b009' });
    await queue('mine');
    await begin();
    expect(server.pushes).toEqual([['mine']]);
    expect(await waiting()).toEqual(['hers']);
  });

  test('keeps a refused change with its reason and goes on with the rest', async () => {
    for (const id of ['c1', 'bad', 'c3']) await queue(id);
    server.refuse.set('bad', 'event.chain');
    await begin();
    expect((await outboxRows(db)).map(({ id, state, code, detail }) => [id, state, code, detail])).toEqual([
      ['bad', 'refused', 'event.chain', 'says why'],
    ]);
    expect([...server.held.keys()]).toEqual(['c1', 'c3']);
  });

  test.each(['silent', 'portal'] as const)('with a %s network loses nothing and makes it good', async (down) => {
    await queue('c1');
    server.down = down;
    await begin();
    expect(await waiting()).toEqual(['c1']);
    expect(sync.mode).toBe('offline');
    server.down = 'no';
    clock.at.mono_ms += 1;
    await sync.now();
    await vi.waitFor(async () => expect(await waiting()).toEqual([]));
    expect(sync.mode).toBe('idle');
  });

  test('whose answers are lost sends again, and nothing is doubled', async () => {
    await queue('c1');
    server.down = 'swallow answers';
    await begin();
    expect(server.held.size).toBe(1);
    expect(await waiting()).toEqual(['c1']);
    server.down = 'no';
    await sync.now();
    await vi.waitFor(async () => expect(await waiting()).toEqual([]));
    expect(server.pushes).toEqual([['c1'], ['c1']]);
    expect(server.held.size).toBe(1);
  });

  test('with a person who is revoked stops sending, keeps all, and goes on after a sign-in', async () => {
    await queue('c1');
    server.revoked = true;
    await begin();
    expect([sync.refused, session.state]).toEqual([true, 'needs_sign_in']);
    expect(await waiting()).toEqual(['c1']);
    server.revoked = false;
    await session.signIn('ann@two.example', 'a long password');
    await sync.begin();
    await vi.waitFor(async () => expect(await waiting()).toEqual([]));
    expect(sync.refused).toBe(false);
  });

  test('with a restored server sends again what that server lost', async () => {
    await queue('c1');
    server.log.push({ seq: 1, kind: 'vehicle', v: 1, id: 'v1', body: { id: 'v1', label: 'one' } });
    await begin();
    expect(server.held.size).toBe(1);
    server.held.clear();
    server.epoch = 'epoch-2';
    await sync.now();
    await vi.waitFor(() => expect([...server.held.keys()]).toEqual(['c1']));
    await vi.waitFor(async () => expect(await syncMark(db)).toMatchObject({ cursor: '1.epoch-2', epoch: 'epoch-2' }));
    expect((await documents(db, 'vehicle')).length).toBe(1);
  });

  test('tells a change made meanwhile a moment later', async () => {
    await begin();
    await queue('late');
    sync.queued();
    await vi.waitFor(() => expect([...server.held.keys()]).toEqual(['late']), { timeout: 4000 });
  });
});

import { beforeEach, describe, expect, test } from 'vitest';
import { Fault } from '../core/fault';
import { Database } from '../data/database';
import { outboxRows, queueChange, type Author } from '../data/outbox';
import type { Clock } from '../device/clock';
import type { Moment, Person, Workshop } from '../schema';
import { Session } from './session';

const ANN: Person = { id: '01900000-0000-7000-8000-00000000b001', name: 'Ann', role: 'mechanic' };
const BOB: Person = { id: '01900000-0000-7000-8000-00000000b002', name: 'Bob', role: 'mechanic' };
const TWO: Workshop = { id: '01900000-0000-7000-8000-00000000a001', name: 'Two', time_zone: 'Europe/Berlin' };
const THREE: Workshop = { ...TWO, id: '01900000-0000-7000-8000-00000000a003', name: 'Three' };

type Reply = Response | 'no answer';

/** The server's end of the line: each request is answered by the next reply, and noted. */
class Line {
  replies: Reply[] = [];
  asked: string[] = [];
  tokens: (string | null)[] = [];
  fetcher = (url: string, init: RequestInit): Promise<Response> => {
    this.asked.push(`${init.method ?? 'GET'} ${url}`);
    this.tokens.push(new Headers(init.headers).get('authorization'));
    const reply = this.replies.shift();
    if (reply === undefined) throw new Error(`nobody expected ${url}`);
    return reply === 'no answer' ? Promise.reject(new TypeError('network error')) : Promise.resolve(reply);
  };
}

const json = (body: unknown): Response => new Response(JSON.stringify(body), { headers: { 'content-type': 'application/json' } });
const problem = (status: number, code: string): Response =>
  new Response(JSON.stringify({ status, code, detail: code }), { status, headers: { 'content-type': 'application/problem+json' } });
const grant = (person: Person, token: string, expires = 900, workshop = TWO): Response =>
  json({ access_token: token, expires_in_s: expires, person, workshop, device_id: 'd' });
/** What a hotel's network answers in the place of our server. */
const portal = (status: number): Response => new Response('<p>Welcome', { status, headers: { 'content-type': 'text/html' } });

class TestClock implements Clock {
  at: Moment = { wall_ms: 1_780_000_000_000, mono_ms: 0, boot: 'b' };
  now = (): Moment => ({ ...this.at });
  utcOffsetMin = (): number => 0;
}

let db: Database;
let line: Line;
let clock: TestClock;
let session: Session;
let count = 0;

function open(): Session {
  return new Session({ db, clock, fetcher: line.fetcher, deviceName: 'phone', changed: () => undefined });
}

beforeEach(async () => {
  db = new Database(`session-test-${count++}`);
  line = new Line();
  clock = new TestClock();
  session = open();
  await session.restore();
});

async function signIn(person = ANN, workshop = TWO, expires = 900): Promise<void> {
  line.replies.push(grant(person, `token of ${person.name}`, expires, workshop));
  await session.signIn('a@two.example', 'a long password');
}

async function queue(id: string, author: Author): Promise<void> {
  await db.write(['outbox', 'meta'], (tx) => queueChange(tx, { id, kind: 'event', v: 1, body: {} }, author, 1).then(() => undefined));
}

async function codeOf(work: Promise<unknown>): Promise<string> {
  try {
    await work;
  } catch (x) {
    return x instanceof Fault ? x.code : String(x);
  }
  return 'done';
}

const ask = () => session.request({ method: 'GET', path: '/api/v1/sync/pull' });

describe('signing in', () => {
  test('makes the session valid, and the person is known after a restart', async () => {
    expect(session.state).toBe('nobody');
    await signIn();
    expect([session.state, session.remembered?.person.name]).toEqual(['valid', 'Ann']);
    const device = session.deviceID;
    session = open();
    await session.restore();
    expect([session.state, session.remembered?.person.name, session.deviceID]).toEqual(['stale', 'Ann', device]);
  });

  test.each([
    ['a wrong password', problem(401, 'auth.wrong'), 'auth.wrong'],
    ['too many tries', problem(429, 'auth.slow'), 'auth.slow'],
    ['no connection', 'no answer' as const, 'offline'],
    ['somebody else answering', portal(200), 'offline'],
    ['an answer of another shape', json({ hello: 'world' }), 'offline'],
    ['a gateway that failed', portal(502), 'offline'],
  ])('%s is told and changes nothing', async (_name, reply, code) => {
    line.replies.push(reply);
    expect(await codeOf(session.signIn('a@two.example', 'x'))).toBe(code);
    expect([session.state, session.remembered]).toEqual(['nobody', undefined]);
  });

  test('no secret is written to the database', async () => {
    await signIn();
    const all = await db.run(async (base) => JSON.stringify(await base.getAll('meta')));
    expect(all).not.toContain('token of Ann');
    expect(all).not.toContain('long password');
  });
});

describe('asking', () => {
  test('carries the token, and renews it before it ends', async () => {
    await signIn(ANN, TWO, 60);
    line.replies.push(json({}));
    await ask();
    expect(line.tokens.at(-1)).toBe('Bearer token of Ann');
    clock.at.mono_ms = 31_000;
    line.replies.push(grant(ANN, 'second'), json({}));
    await ask();
    expect(line.asked.slice(-2)).toEqual(['POST /api/v1/session/refresh', 'GET /api/v1/sync/pull']);
    expect(line.tokens.at(-1)).toBe('Bearer second');
  });

  test('a calendar that jumps neither ends nor stretches a token', async () => {
    await signIn();
    clock.at.wall_ms += 86_400_000;
    line.replies.push(json({}));
    expect((await ask()).kind).toBe('answer');
    expect(line.asked).not.toContain('POST /api/v1/session/refresh');
  });

  test('a refused token is renewed once, and the request put again', async () => {
    await signIn();
    line.replies.push(problem(401, 'auth.expired'), grant(ANN, 'second'), json({ fine: true }));
    expect(await ask()).toMatchObject({ kind: 'answer', body: { fine: true } });
    expect(session.state).toBe('valid');
  });

  test('a request refused again is not put for ever', async () => {
    await signIn();
    line.replies.push(problem(401, 'auth.expired'), grant(ANN, 'second'), problem(401, 'auth.expired'));
    expect(await ask()).toMatchObject({ kind: 'problem', status: 401 });
    expect(line.replies).toEqual([]);
  });

  test('two requests at once renew once', async () => {
    await signIn(ANN, TWO, 1);
    line.replies.push(grant(ANN, 'second'), json({}), json({}));
    await Promise.all([ask(), ask()]);
    expect(line.asked.filter((a) => a.includes('refresh')).length).toBe(1);
  });
});

describe('losing the server', () => {
  test.each([
    ['no answer', 'no answer' as const],
    ['a portal', portal(200)],
    ['a portal that says 401', portal(401)],
    ['a gateway', portal(503)],
  ])('%s makes the session stale, and never asks for a sign-in', async (_name, reply) => {
    await signIn();
    line.replies.push(reply);
    expect((await ask()).kind).toBe('unreachable');
    expect(session.state).toBe('stale');
    expect(session.author()?.person_id).toBe(ANN.id);
    line.replies.push(json({}));
    await ask();
    expect(session.state).toBe('valid');
  });

  test("only the server's own refusal asks for a sign-in, and the person stays known", async () => {
    await signIn(ANN, TWO, 1);
    line.replies.push(problem(401, 'session_revoked'));
    expect(await ask()).toMatchObject({ kind: 'problem', status: 401 });
    expect([session.state, session.author()?.person_id]).toEqual(['needs_sign_in', ANN.id]);
    await signIn();
    expect(session.state).toBe('valid');
  });

  test('a server that is overloaded while renewing changes nothing for good', async () => {
    await signIn(ANN, TWO, 1);
    line.replies.push(problem(429, 'auth.slow'));
    expect((await ask()).kind).toBe('problem');
    expect(session.state).toBe('stale');
    line.replies.push(problem(429, 'auth.slow'));
    expect(await session.renew()).toBe('unreachable');
  });
});

describe('another person on the same phone', () => {
  const ann: Author = { person_id: ANN.id, workshop_id: TWO.id };

  test("leaves the first one's changes on the phone", async () => {
    await signIn();
    await queue('a1', ann);
    await signIn(BOB);
    expect((await outboxRows(db)).map((row) => row.id)).toEqual(['a1']);
    line.replies.push(new Response(null, { status: 204 }));
    await session.signOut(false); // nothing of Bob's waits
    expect((await outboxRows(db)).map((row) => row.id)).toEqual(['a1']);
  });

  test("a cookie of somebody else's sign-in is not used to send", async () => {
    await signIn(ANN, TWO, 1);
    line.replies.push(grant(BOB, 'token of Bob'));
    expect(await ask()).toMatchObject({ kind: 'problem', code: 'session.other_person' });
    expect(line.tokens).not.toContain('Bearer token of Bob');
    expect([session.state, session.author()?.person_id]).toEqual(['needs_sign_in', ANN.id]);
  });

  test('of another workshop sees nothing of the first, whose changes stay', async () => {
    await signIn();
    await queue('a1', ann);
    await db.run((base) => base.put('records', { kind: 'vehicle', id: 'v', v: 1, seq: 1, round: 1, body: {} }));
    await db.run((base) => base.put('meta', { cursor: '7.x', epoch: 'e', round: 1, last_ok_ms: 1 }, 'sync'));
    await signIn(BOB, THREE);
    expect(await db.run((base) => base.count('records'))).toBe(0);
    expect(await db.run((base) => base.get('meta', 'sync'))).toBeUndefined();
    expect((await outboxRows(db)).map((row) => row.id)).toEqual(['a1']);
  });
});

describe('signing out', () => {
  const ann: Author = { person_id: ANN.id, workshop_id: TWO.id };

  test('is refused while changes wait, and goes with the word to lose them', async () => {
    await signIn();
    await queue('a1', ann);
    expect(await codeOf(session.signOut(false))).toBe('session.outbox_waiting');
    expect(session.state).toBe('valid');
    line.replies.push(new Response(null, { status: 204 }));
    await session.signOut(true);
    expect(session.state).toBe('nobody');
    expect(await outboxRows(db)).toEqual([]);
  });

  test('keeps the phone, its numbers, and nothing else', async () => {
    await signIn();
    await db.run((base) => base.put('records', { kind: 'vehicle', id: 'v', v: 1, seq: 1, round: 1, body: {} }));
    await queue('a1', ann);
    line.replies.push(new Response(null, { status: 204 }));
    await session.signOut(true);
    expect(await db.run((base) => base.count('records'))).toBe(0);
    expect((await db.run((base) => base.getAllKeys('meta'))).sort()).toEqual(['device_id', 'dseq']);
  });

  test('without signal is made good later', async () => {
    await signIn();
    line.replies.push('no answer');
    await session.signOut(false);
    expect(await db.run((base) => base.get('meta', 'sign_out_pending'))).toBe(true);
    line.replies.push(new Response(null, { status: 204 }));
    await session.finishSignOut();
    expect(line.asked.at(-1)).toBe('DELETE /api/v1/session');
    await session.finishSignOut();
    expect(line.asked.filter((a) => a.startsWith('DELETE')).length).toBe(2);
  });
});

import { beforeEach, describe, expect, test } from 'vitest';
import profile from '../../../server/demo/data/profile-8l.json';
import cautions from '../../../server/demo/data/cautions.json';
import { createCore } from '../core/bridge';
import { Fault } from '../core/fault';
import { InProcessWorker } from '../core/inprocess';
import type { Clock } from '../device/clock';
import type { CheckEvent, EventBodies, Moment } from '../schema';
import { Checks } from './check';
import { Database } from './database';
import { eventsOf } from './event';
import { outboxRows, type Author } from './outbox';
import { applyPage, type Item } from './page';
import { documents } from './records';
import { reminderID } from './reminder';

const VEHICLE_ID = '01900000-0000-7000-8000-00000000d001';
const UNIT_ID = '01900000-0000-7000-8000-00000000e001';
const PERSON_ID = '01900000-0000-7000-8000-00000000b001';
const DEVICE_ID = '01900000-0000-7000-8000-00000000b0d1';
const AUTHOR: Author = { person_id: PERSON_ID, workshop_id: '01900000-0000-7000-8000-00000000a001' };

const START = { reason: 'level_check', cooler_circuit: 'untouched', cycle: 1, warmer: 'unknown', raised: true, indoors: false } as const;

/** Both clocks go on together, unless a test moves one of them. */
class TestClock implements Clock {
  at: Moment = { wall_ms: Date.UTC(2026, 5, 1, 8), mono_ms: 1000, boot: 'boot-1' };
  now = (): Moment => ({ ...this.at });
  utcOffsetMin = (): number => 120;
  pass(ms: number): void {
    this.at = { ...this.at, wall_ms: this.at.wall_ms + ms, mono_ms: this.at.mono_ms + ms };
  }
}

const core = createCore(() => new InProcessWorker());
let name = '';
let db: Database;
let clock: TestClock;
let checks: Checks;
let count = 0;
let author: Author | undefined;

function open(database: Database): Checks {
  return new Checks({ db: database, core, clock, deviceID: () => DEVICE_ID, author: () => author, stored: () => undefined });
}

const item = (seq: number, kind: string, body: { id: string }): Item => ({ seq, kind, v: 1, id: body.id, body });

beforeEach(async () => {
  name = `check-test-${count++}`;
  db = new Database(name);
  clock = new TestClock();
  author = AUTHOR;
  checks = open(db);
  const vehicle = { id: VEHICLE_ID, label: 'Van 1', unit_id: UNIT_ID, wheelbase_mm: 2900, track_mm: 1600, auto_stop: false, hybrid: false, odometer_km: 0 };
  const unit = { id: UNIT_ID, label: 'Unit 1', description: '8-speed', profile_id: profile.id, warmer: 'unknown' };
  const items = [item(1, 'vehicle', vehicle), item(2, 'unit', unit), item(3, 'profile', profile), ...cautions.map((c, i) => item(4 + i, 'caution', c))];
  await applyPage(db, { items, cursor: '9.x', epoch: 'e', more: false, nowMS: 1 });
});

async function codeOf(work: Promise<unknown>): Promise<string> {
  try {
    await work;
  } catch (x) {
    return x instanceof Fault ? x.code : String(x);
  }
  return 'done';
}

/** Takes a check through the go sheet to the decision. */
async function decide(checkID: string): Promise<void> {
  for (const { id, edition } of cautions) await checks.act(checkID, 'caution.acknowledged', { caution_id: id, edition });
  await checks.act(checkID, 'attitude.measured', { pitch_deg: 0.2, roll_deg: 0.1, sd_deg: 0.1, method: 'typed', where: 'pan rail' });
  await checks.act(checkID, 'cold.read', { gearbox_c: 18, coolant_c: 18, air_c: 17, source: 'reader' });
  await checks.act(checkID, 'plug.cracked', {});
  await checks.act(checkID, 'kit.laid_out', {});
  await checks.act(checkID, 'go.decided', { go: true });
}

describe('a check on the phone', () => {
  test('is stored act by act as an unbroken chain, and the trunk agrees', async () => {
    const id = await checks.start(VEHICLE_ID, START);
    await decide(id);
    const view = await checks.view(id);
    expect(view.state.phase).toBe('run');
    const events = await eventsOf(db, id);
    expect(events.map((e) => e.n)).toEqual(events.map((_, i) => i + 1));
    expect(events.every((e) => e.check_id === id)).toBe(true);
    const { head } = await core.call<{ head: string }>('verify-chain', { events });
    const entry = await db.run((base) => base.get('checks', id));
    expect(entry?.head).toEqual({ n: events.length, hash: head });
    expect(entry?.summary).toMatchObject({ phase: 'run', status: 'running', events: events.length, person_id: PERSON_ID });
    const rows = await outboxRows(db);
    expect(rows.map((row) => row.id)).toEqual(events.map((e) => e.id));
    expect(rows.map((row) => row.dseq)).toEqual(events.map((_, i) => i + 1));
  });

  test('a refused act says why and stores nothing', async () => {
    const id = await checks.start(VEHICLE_ID, START);
    const before = await eventsOf(db, id);
    expect(await codeOf(checks.act(id, 'engine.started', {}))).toBe('phase.run');
    expect(await eventsOf(db, id)).toEqual(before);
    expect((await outboxRows(db)).length).toBe(before.length);
  });

  test('a refused start leaves no trace', async () => {
    expect(await codeOf(checks.start(VEHICLE_ID, { ...START, cycle: 3 }))).toBe('number.range');
    expect(await codeOf(checks.start('01900000-0000-7000-8000-0000000000ff', START))).toBe('not_found');
    author = undefined;
    expect(await codeOf(checks.start(VEHICLE_ID, START))).toBe('session.nobody');
    expect(await db.run((base) => base.count('checks'))).toBe(0);
    expect(await outboxRows(db)).toEqual([]);
  });

  test('fast taps are each kept, in order, with the moment of the tap', async () => {
    const id = await checks.start(VEHICLE_ID, START);
    await decide(id);
    await checks.act(id, 'place.changed', { to: 'seat' });
    await checks.act(id, 'engine.started', {});
    clock.pass(60_000);
    await checks.act(id, 'reading.taken', { value: 20, unit: 'C', source: 'reader' });
    await checks.act(id, 'place.changed', { to: 'under' });
    await checks.act(id, 'plug.opened', {});
    await checks.act(id, 'flow.seen', { seen: 'drops' });
    await checks.act(id, 'watch.started', {});
    const taps: Promise<unknown>[] = [];
    const moments: number[] = [];
    for (let i = 0; i < 8; i++) {
      clock.pass(150);
      moments.push(clock.at.mono_ms);
      taps.push(checks.act(id, 'drip.tapped', {}));
    }
    await Promise.all(taps);
    const drips = (await eventsOf(db, id)).filter((e) => e.kind === 'drip.tapped');
    expect(drips.map((e) => e.mono_ms)).toEqual(moments);
    expect((await checks.view(id)).state.drips).toBe(8);
  });

  test('goes on after the app was closed, from the log alone', async () => {
    const id = await checks.start(VEHICLE_ID, START);
    await decide(id);
    const before = (await checks.view(id)).state.events;
    clock.at = { wall_ms: clock.at.wall_ms + 90_000, mono_ms: 20, boot: 'boot-2' };
    checks = open(new Database(name));
    expect((await checks.view(id)).state.events).toBe(before);
    await checks.resume(id);
    await checks.resume(id);
    const resumed = (await eventsOf(db, id)).filter((e) => e.kind === 'app.resumed');
    expect(resumed.map((e) => e.body)).toEqual([{ hidden_wall_ms: 90_000, restarted: true }]);
    await checks.act(id, 'note.written', { text: 'phone was dead' });
  });

  test('a short look elsewhere is not written down, a long one is', async () => {
    const id = await checks.start(VEHICLE_ID, START);
    const hidden = clock.now();
    clock.pass(4_000);
    expect(await checks.resume(id, hidden)).toBeUndefined();
    clock.pass(4_000);
    expect(await checks.resume(id, hidden)).toBeDefined();
    const last = (await eventsOf(db, id)).at(-1);
    expect(last?.body).toEqual({ hidden_wall_ms: 8_000, hidden_mono_ms: 8_000, restarted: false });
  });

  test('an act on what another tab changed meanwhile is refused, then goes', async () => {
    const id = await checks.start(VEHICLE_ID, START);
    const other = open(new Database(name));
    await other.view(id);
    await checks.act(id, 'note.written', { text: 'here' });
    expect(await codeOf(other.act(id, 'note.written', { text: 'there' }))).toBe('check.elsewhere');
    await other.act(id, 'note.written', { text: 'there' });
    expect((await eventsOf(db, id)).map((e) => e.kind)).toEqual(['check.started', 'note.written', 'note.written']);
  });

  test('another person cannot go on with it', async () => {
    const id = await checks.start(VEHICLE_ID, START);
    author = { ...AUTHOR, person_id: '01900000-0000-7000-8000-00000000b002' };
    expect(await codeOf(checks.act(id, 'note.written', { text: 'x' }))).toBe('check.other_person');
    expect(await checks.resume(id)).toBeUndefined();
  });

  test('keeps the edition it began with when a newer one arrives', async () => {
    const id = await checks.start(VEHICLE_ID, START);
    const newer = { ...profile, edition: profile.edition + 1, window: { ...profile.window, high_c: 45 } };
    await applyPage(db, { items: [item(20, 'profile', newer)], cursor: '20.x', epoch: 'e', more: false, nowMS: 2 });
    checks = open(new Database(name));
    expect((await checks.view(id)).state.profile_edition).toBe(profile.edition);
    const next = await checks.start(VEHICLE_ID, START);
    expect((await checks.view(next)).state.profile_edition).toBe(profile.edition + 1);
  });
});

describe('the end of a check', () => {
  const notDone: EventBodies['check.finished'] = { outcome: 'not_done', reason: 'too_warm' };

  test('leaves its reminder and the change for it, once', async () => {
    const id = await checks.start(VEHICLE_ID, START);
    const view = await checks.act(id, 'check.finished', notDone);
    expect(view.result?.reminder?.rule).toBe('repeat_cold');
    const reminders = await documents(db, 'reminder');
    expect(reminders).toEqual([
      { id: await reminderID(id, 'repeat_cold'), vehicle_id: VEHICLE_ID, check_id: id, rule: 'repeat_cold', due_date: '2026-06-02', reason: 'reminder.repeat_cold' },
    ]);
    const changes = (await outboxRows(db)).filter((row) => row.kind === 'reminder');
    expect(changes.length).toBe(1);
    expect(changes[0]?.body).toMatchObject({
      reminder: reminders[0],
      fields: ['check_id', 'rule', 'due_date', 'reason'],
      stamp: { wall_ms: clock.at.wall_ms, count: 0, device: DEVICE_ID },
    });
    expect(await codeOf(checks.act(id, 'check.finished', notDone))).toBe('check.finished');
    await checks.act(id, 'note.written', { text: 'customer told' });
    expect((await outboxRows(db)).filter((row) => row.kind === 'reminder').length).toBe(1);
  });

  test('is summed up, and a finished check is not resumed', async () => {
    const id = await checks.start(VEHICLE_ID, START);
    clock.pass(5_000);
    await checks.act(id, 'check.finished', notDone);
    const entry = await db.run((base) => base.get('checks', id));
    expect(entry?.summary).toMatchObject({ phase: 'done', status: 'not_done', reason: 'too_warm', ended_ms: clock.at.wall_ms });
    clock.at = { ...clock.at, boot: 'boot-2' };
    checks = open(new Database(name));
    expect(await checks.resume(id)).toBeUndefined();
  });

  test('a check pulled from another phone can be read and not continued', async () => {
    const id = await checks.start(VEHICLE_ID, START);
    await checks.act(id, 'note.written', { text: 'one' });
    const events: CheckEvent[] = await eventsOf(db, id);
    const entry = await db.run((base) => base.get('checks', id));
    await db.run(async (base) => {
      await base.clear('events');
      await base.clear('checks');
    });
    const items = [...events.map((e, i) => ({ ...item(30 + i, 'event', e) })), { ...item(40, 'check', { id }), body: entry?.summary }];
    await applyPage(db, { items, cursor: '40.x', epoch: 'e', more: false, nowMS: 3 });
    checks = open(new Database(name));
    expect((await checks.view(id)).state.events).toBe(2);
    expect(await codeOf(checks.act(id, 'note.written', { text: 'two' }))).toBe('check.other_phone');
  });
});

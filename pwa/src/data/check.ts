/**
 * A check on this phone: the trunk decides, the database keeps, in that order, one act
 * after another. What a check runs on and its log stay in memory while it is worked on,
 * so that a tap costs one computation and one write.
 */
import type { Core } from '../core/bridge';
import { Fault } from '../core/fault';
import type { Clock } from '../device/clock';
import { withLock } from '../device/lock';
import type { Basis, Check, CheckEvent, EventBodies, EventKind, Level, Moment, Reminder, View, Warming } from '../schema';
import type { CheckEntry, Database } from './database';
import { appendEvent, eventsOf, type Append } from './event';
import { newID } from './ids';
import type { Author } from './outbox';
import { document, documents, needed, profileEdition } from './records';
import { addReminderOnce, fieldsOf, proposed, putReminder, reminderID, type Edit } from './reminder';

/** Shorter absences are not worth an entry in the log. */
export const HIDDEN_LIMIT_MS = 5_000;

/** How many earlier checks a forecast learns from at most. */
const LEARNS_FROM = 200;

interface Loaded {
  basis: Basis;
  events: CheckEvent[];
  /** Absent for a check that is about to be started. */
  entry?: CheckEntry;
}

export interface ChecksNeeds {
  db: Database;
  core: Core;
  clock: Clock;
  deviceID(): string;
  /** Who works here now; undefined while nobody is signed in. */
  author(): Author | undefined;
  /** Told after each stored event. */
  stored(checkID: string, view: View): void;
}

export class Checks {
  readonly #needs: ChecksNeeds;
  readonly #loaded = new Map<string, Promise<Loaded>>();
  readonly #tails = new Map<string, Promise<unknown>>();
  /** Checks that were attended in this page load: a cold start is told only once. */
  readonly #attended = new Set<string>();

  constructor(needs: ChecksNeeds) {
    this.#needs = needs;
  }

  /** Opens a check with its first event and returns its id. */
  async start(vehicleID: string, input: Omit<EventBodies['check.started'], OwnFields>): Promise<string> {
    const { db, clock } = this.#needs;
    const author = this.#author();
    const vehicle = await needed(db, 'vehicle', vehicleID, 'vehicle_id');
    const unit = await needed(db, 'unit', vehicle.unit_id, 'unit_id');
    const profile = await profileEdition(db, unit.profile_id);
    const cautions = await documents(db, 'caution');
    const now = clock.now();
    const checkID = newID(now.wall_ms);
    const body: EventBodies['check.started'] = {
      ...input,
      vehicle_id: vehicle.id,
      unit_id: unit.id,
      profile_id: profile.id,
      profile_edition: profile.edition,
      person_id: author.person_id,
      device_id: this.#needs.deviceID(),
      utc_offset_min: clock.utcOffsetMin(),
    };
    const prior = await this.#learned(vehicle.id, profile.id);
    if (prior !== undefined) body.prior = prior;
    this.#loaded.set(checkID, Promise.resolve({ basis: { profile, vehicle, unit, cautions }, events: [] }));
    this.#attended.add(checkID);
    try {
      await this.#enqueue(checkID, () => this.#act(checkID, 'check.started', body, now));
    } catch (x) {
      this.#loaded.delete(checkID);
      throw x;
    }
    return checkID;
  }

  /** What earlier checks under this profile let one expect; nothing where there are none. */
  async #learned(vehicleID: string, profileID: string): Promise<Warming | undefined> {
    const { db, core } = this.#needs;
    const entries = await db.run((open) => open.getAll('checks'));
    const checks = entries
      .filter(({ summary }) => summary.profile_id === profileID && summary.warming !== undefined)
      .sort((a, b) => b.summary.started_ms - a.summary.started_ms)
      .slice(0, LEARNS_FROM)
      .map(({ summary }) => ({ vehicle: summary.vehicle_id, ...summary.warming }));
    if (checks.length === 0) return undefined;
    try {
      const { rise_c, time_constant_s } = await core.call<Warming>('warmup-prior', { vehicle: vehicleID, checks });
      return { rise_c, time_constant_s };
    } catch {
      return undefined; // a forecast may be less sure; a check must never fail to open for it
    }
  }

  /** Appends one event, stamped with the moment of this call, and returns the view after it. */
  act<K extends EventKind>(checkID: string, kind: K, body: EventBodies[K]): Promise<View> {
    const now = this.#needs.clock.now();
    return this.#enqueue(checkID, () => this.#act(checkID, kind, body, now));
  }

  /** The view at this moment. Nothing is stored. */
  async view(checkID: string): Promise<View> {
    const { basis, events } = await this.#load(checkID);
    return this.#needs.core.call<View>('check-view', { ...basis, events, now: this.#needs.clock.now() });
  }

  /**
   * Says in the log that the app was away. `hidden` is the moment it went; without it the
   * app was started anew and the last event is the last that is known. Nothing is written
   * for a check that is finished, not ours, or was only away for a moment.
   */
  async resume(checkID: string, hidden?: Moment): Promise<View | undefined> {
    const now = this.#needs.clock.now();
    return this.#enqueue(checkID, async () => {
      const { events, entry } = await this.#load(checkID);
      const last = events.at(-1);
      if (last === undefined || entry === undefined || !entry.ours || entry.summary.phase === 'done') return undefined;
      if (entry.person_id !== this.#needs.author()?.person_id) return undefined;
      const body = hidden === undefined ? this.#coldStart(checkID, last, now) : awayFor(hidden, now);
      return body === undefined ? undefined : this.#act(checkID, 'app.resumed', body, now);
    });
  }

  /** Drops what is in memory, because the database changed behind it. */
  forget(checkID?: string): void {
    if (checkID === undefined) this.#loaded.clear();
    else this.#loaded.delete(checkID);
  }

  #coldStart(checkID: string, last: CheckEvent, now: Moment): EventBodies['app.resumed'] | undefined {
    if (this.#attended.has(checkID)) return undefined;
    this.#attended.add(checkID);
    if (last.boot === now.boot) return undefined;
    return { hidden_wall_ms: now.wall_ms - last.wall_ms, restarted: true };
  }

  /** One after another for one check, whatever becomes of the one before. */
  #enqueue<T>(checkID: string, work: () => Promise<T>): Promise<T> {
    const before = this.#tails.get(checkID) ?? Promise.resolve();
    const mine = before.then(() => withLock(`check:${checkID}`, work));
    const tail = mine.then(
      () => undefined,
      () => undefined,
    );
    this.#tails.set(checkID, tail);
    void tail.then(() => {
      if (this.#tails.get(checkID) === tail) this.#tails.delete(checkID);
    });
    return mine;
  }

  async #act(checkID: string, kind: EventKind, body: unknown, now: Moment): Promise<View> {
    const { db, core } = this.#needs;
    const author = this.#author();
    const loaded = await this.#load(checkID);
    this.#mayContinue(loaded.entry, author);
    const id = newID(now.wall_ms);
    const asked = { ...loaded.basis, events: loaded.events, kind, body, id, check_id: checkID, now };
    const { event, hash, view } = await core.call<{ event: CheckEvent; hash: string; view: View }>('check-act', asked);
    const entry: CheckEntry = {
      id: checkID,
      ours: true,
      person_id: loaded.entry?.person_id ?? author.person_id,
      head: { n: event.n, hash },
      summary: summaryOf(checkID, [...loaded.events, event], view),
      last_ms: event.wall_ms,
      basis: loaded.basis,
    };
    const append: Append = { event, hash, author, summary: entry.summary, basis: loaded.basis };
    const edits = await this.#consequences(checkID, kind, view, loaded, now, author);
    if (edits.length > 0) {
      append.also = async (tx) => {
        for (const { edit, once } of edits) await (once ? addReminderOnce(tx, edit) : putReminder(tx, edit));
      };
    }
    try {
      await appendEvent(db, append);
    } catch (x) {
      this.#loaded.delete(checkID); // what is on disk is the truth
      throw x;
    }
    this.#loaded.set(checkID, Promise.resolve({ basis: loaded.basis, events: [...loaded.events, event], entry }));
    this.#needs.stored(checkID, view);
    return view;
  }

  #author(): Author {
    const author = this.#needs.author();
    if (author === undefined) throw new Fault('session.nobody', '', 'sign in first');
    return author;
  }

  #mayContinue(entry: CheckEntry | undefined, author: Author): void {
    if (entry === undefined) return;
    if (!entry.ours) throw new Fault('check.other_phone', 'check_id', 'this check was made on another phone; it can only be read here');
    if (entry.person_id !== author.person_id) {
      throw new Fault('check.other_person', 'check_id', 'this check belongs to another person; they must sign in to go on with it');
    }
  }

  /** Reminders that a finished check makes or settles, prepared before the transaction opens. */
  async #consequences(
    checkID: string,
    kind: EventKind,
    view: View,
    loaded: Loaded,
    now: Moment,
    author: Author,
  ): Promise<{ edit: Edit; once: boolean }[]> {
    if (kind !== 'check.finished' || view.state.phase !== 'done') return [];
    const common = { device: this.#needs.deviceID(), madeMS: now.wall_ms, author };
    const edits: { edit: Edit; once: boolean }[] = [];
    const proposal = view.result?.reminder;
    if (proposal !== undefined) {
      const reminder = await proposed(checkID, loaded.basis.vehicle.id, proposal);
      const edit = { ...common, reminder, fields: fieldsOf(reminder), changeID: newID(now.wall_ms) };
      edits.push({ edit, once: true });
    }
    const settled = await this.#settled(checkID, view, loaded, now);
    if (settled !== undefined) {
      const edit: Edit = { ...common, reminder: settled, fields: ['done_ms', 'done_check'], changeID: newID(now.wall_ms) };
      edits.push({ edit, once: false });
    }
    return edits;
  }

  /** The second cycle was done: the reminder of the first check that asked for it is settled. */
  async #settled(checkID: string, view: View, loaded: Loaded, now: Moment): Promise<Reminder | undefined> {
    const started = loaded.events[0]?.body as EventBodies['check.started'] | undefined;
    if (started?.first_check_id === undefined || view.state.outcome !== 'set') return undefined;
    const id = await reminderID(started.first_check_id, 'second_cycle');
    const held = await document(this.#needs.db, 'reminder', id);
    if (held === undefined || held.done_ms !== undefined) return undefined;
    return { ...held, done_ms: now.wall_ms, done_check: checkID };
  }

  #load(checkID: string): Promise<Loaded> {
    let loading = this.#loaded.get(checkID);
    if (loading === undefined) {
      loading = this.#read(checkID);
      this.#loaded.set(checkID, loading);
      loading.catch(() => this.#loaded.delete(checkID));
    }
    return loading;
  }

  async #read(checkID: string): Promise<Loaded> {
    const { db } = this.#needs;
    const entry = await db.run((open) => open.get('checks', checkID));
    if (entry === undefined) throw new Fault('not_found', 'check_id', 'this phone holds no such check');
    const events = await eventsOf(db, checkID);
    return { basis: entry.basis ?? (await this.#basisOf(entry.summary)), events, entry };
  }

  /** What a check of another phone ran on, from the shared documents. */
  async #basisOf(summary: Check): Promise<Basis> {
    const { db } = this.#needs;
    return {
      profile: await profileEdition(db, summary.profile_id, summary.profile_edition),
      vehicle: await needed(db, 'vehicle', summary.vehicle_id, 'vehicle_id'),
      unit: await needed(db, 'unit', summary.unit_id, 'unit_id'),
      cautions: await documents(db, 'caution'),
    };
  }
}

/** The fields of check.started that the phone fills in by itself. */
type OwnFields =
  | 'vehicle_id' | 'unit_id' | 'profile_id' | 'profile_edition' | 'person_id' | 'device_id' | 'utc_offset_min';

/** How long the app was hidden by both clocks, if longer than HIDDEN_LIMIT_MS by either. */
function awayFor(hidden: Moment, now: Moment): EventBodies['app.resumed'] | undefined {
  const wall = now.wall_ms - hidden.wall_ms;
  const mono = now.mono_ms - hidden.mono_ms;
  if (Math.max(Math.abs(wall), mono) <= HIDDEN_LIMIT_MS) return undefined;
  return { hidden_wall_ms: wall, hidden_mono_ms: mono, restarted: false };
}

/** The summary of a check from its log and its view. */
export function summaryOf(checkID: string, events: CheckEvent[], view: View): Check {
  const { state, result } = view;
  const started = events[0]?.body as EventBodies['check.started'];
  const done = state.phase === 'done';
  const summary: Check = {
    id: checkID,
    vehicle_id: started.vehicle_id,
    unit_id: started.unit_id,
    profile_id: started.profile_id,
    profile_edition: started.profile_edition,
    person_id: started.person_id,
    device_id: started.device_id,
    started_ms: state.started_ms,
    cycle: started.cycle,
    phase: state.phase,
    status: done ? (result?.status ?? 'not_done') : 'running',
    events: events.length,
  };
  const last = events.at(-1);
  if (done && last !== undefined) summary.ended_ms = events.findLast((e) => e.kind === 'check.finished')?.wall_ms ?? last.wall_ms;
  const reason = result?.reason ?? state.reason;
  if (done && reason !== '') summary.reason = reason;
  if (result !== undefined) {
    summary.reading = result.level.reading;
    summary.as_left = levelOf(result.level.as_left);
    summary.as_found = levelOf(result.level.as_found);
  }
  if (view.warmed !== undefined) summary.warming = view.warmed;
  return summary;
}

function levelOf(level: Level | null | undefined): Level | null {
  return level === null || level === undefined ? null : { level_ml: level.level_ml, sd_ml: level.sd_ml };
}

/**
 * The seam between the screens and everything behind them. Screens import `app`
 * from app.ts and these types; they open no database, call no network and hold no
 * token. Every promise rejects with a Fault (core/fault.ts) whose code the words
 * translate; nothing is half done when one rejects.
 *
 * The objects marked "live" are Svelte rune state: read their fields inside a
 * template or an effect and they follow by themselves. They are never to be
 * written by a screen.
 */
import type {
  Caution, Check, CheckEvent, CheckReason, Circuit, EventBodies, EventKind, Person, Profile, Reminder, Unit, Vehicle, View, Workshop,
} from './schema';

export interface SessionView {
  /**
   * nobody: no one has signed in on this phone yet; show the sign-in screen.
   * valid: the server answers for this person.
   * stale: the server cannot be reached; everything local works.
   * needs_sign_in: the server refused; everything local works, nothing is sent.
   */
  state: 'nobody' | 'valid' | 'stale' | 'needs_sign_in';
  person: Person | null;
  workshop: Workshop | null;
  device_id: string;
}

export interface SyncStatus {
  /** Changes of this person that the server does not hold yet. */
  waiting: number;
  /** When the oldest of them was made, Unix milliseconds; null when none waits. */
  oldest_ms: number | null;
  mode: 'idle' | 'busy' | 'offline' | 'unwell';
  /** Last complete exchange with the server; null: never. */
  last_ok_ms: number | null;
  needs_sign_in: boolean;
  /** Changes the server refused; they are kept and can be exported. */
  attention: number;
  /** Changes another person made on this phone; they wait for that person. */
  parked: number;
}

export interface OfflineView {
  /** The whole app is stored and starts without a network. */
  ready: boolean;
  /** A newer version is stored and waits for the person's word; see applyUpdate. */
  update: boolean;
  /** installing, ready, failed, or absent where the browser has no service worker. */
  state: 'installing' | 'ready' | 'failed' | 'absent';
}

export interface StorageView {
  /** false: nothing can be kept (private window, full disk); warn before a check. */
  usable: boolean;
  /** The browser promised not to clear our data by itself; null: not asked yet. */
  persistent: boolean | null;
  /** The app runs from the home screen, where iOS does not delete after days of disuse. */
  installed: boolean;
  used_bytes: number | null;
  quota_bytes: number | null;
  /** A write failed for want of space; the reserve was freed so that a running check can end. */
  full: boolean;
}

export interface Settings {
  /** Units of what is shown; entries keep the unit they were made in. */
  temperature: 'C' | 'F';
  volume: 'ml' | 'floz';
  torque: 'Nm' | 'lbfft';
  /** auto: the browser's. */
  language: 'auto' | 'en' | 'de' | 'es';
  voice: boolean;
  sound: boolean;
  vibration: boolean;
  /** Silences voice, sound and vibration together; what they say stays on the screen. */
  muted: boolean;
  /** Minutes without a touch under a running vehicle before the phone asks whether its person is fine. */
  fine_min: number;
  theme: 'auto' | 'light' | 'dark';
}

/** A check with what a list shows of it. */
export interface CheckRow {
  check: Check;
  vehicle: Vehicle | null;
  person: Person | null;
  /** Made on this phone: it can be continued here. */
  ours: boolean;
  /** Its events that the server does not hold yet. */
  waiting: number;
  /** Its events that the server refused. */
  refused: number;
}

export interface DueRow {
  reminder: Reminder;
  vehicle: Vehicle | null;
  /** Days from today, negative when overdue. */
  days: number;
}

export interface Today {
  /** Today in the workshop's time zone, 2006-01-02. */
  date: string;
  /** Checks of this phone that are not finished, newest first. */
  running: CheckRow[];
  /** Reminders that are not done, soonest first. */
  due: DueRow[];
  /** Finished checks, newest first, at most 20. */
  recent: CheckRow[];
}

export interface VehiclePage {
  vehicle: Vehicle;
  unit: Unit | null;
  profile: Profile | null;
  /** All checks of this vehicle known to this phone, newest first. */
  checks: CheckRow[];
  reminders: Reminder[];
}

export interface StartCheck {
  vehicle_id: string;
  reason: CheckReason;
  cooler_circuit: Circuit;
  cycle: number;
  raised: boolean;
  indoors: boolean;
  /** The unit's own answer is taken where this is absent. */
  warmer?: 'yes' | 'no' | 'unknown';
  first_check_id?: string;
  /** Cycle 2: a hot drive and a full cool-down lie between. */
  hot_drive?: boolean;
}

export interface NewReminder {
  vehicle_id: string;
  rule: Reminder['rule'];
  due_date: string;
  reason: string;
  due_km?: number;
  check_id?: string;
}

export interface OutboxRow {
  id: string;
  dseq: number;
  kind: string;
  made_ms: number;
  size_bytes: number;
  /** waiting, sending, refused (needs attention) or parked (another person's). */
  state: 'waiting' | 'sending' | 'refused' | 'parked';
  code?: string;
  check_id?: string;
  person_id: string;
}

export interface FleetCheckRow extends Check {
  vehicle_label?: string;
  person_name?: string;
}

export interface FleetPage {
  checks: FleetCheckRow[];
  next?: string;
}

/** One check as the server holds it, with the server's own computation of it. */
export interface Evidence {
  check: Check;
  vehicle: Vehicle;
  unit: Unit;
  profile: Profile;
  person: Person;
  events: { event: CheckEvent; hash: string; received_ms: number }[];
  /** null where the log no longer replays. */
  view: View | null;
  recomputed: { agrees: boolean };
}

export interface App {
  /** Opens the data and restores who works here. Call once, before anything else. */
  start(): Promise<void>;

  /** live */ readonly session: SessionView;
  /** live */ readonly status: SyncStatus;
  /** live */ readonly offline: OfflineView;
  /** live */ readonly storage: StorageView;
  /** live */ readonly settings: Settings;
  /** live: n grows whenever local data changed, here, by sync or in another tab. Read it to load again. */
  readonly changes: { n: number };

  signIn(email: string, password: string): Promise<void>;
  /**
   * Signs out and clears what this phone holds. Rejects with `session.outbox_waiting`
   * while this person's changes are not on the server, unless `discard` is given;
   * offer exportOutbox first.
   */
  signOut(options?: { discard?: boolean }): Promise<void>;

  today(): Promise<Today>;
  vehicles(): Promise<Vehicle[]>;
  /** Rejects with `not_found` where this phone knows no such vehicle. */
  vehicle(vehicleId: string): Promise<VehiclePage>;
  units(): Promise<Unit[]>;
  profiles(): Promise<Profile[]>;
  /** Without an edition: the current one. */
  profile(profileId: string, edition?: number): Promise<Profile>;
  cautions(): Promise<Caution[]>;
  persons(): Promise<Person[]>;
  /** Newest first. */
  checks(filter?: { vehicle_id?: string }): Promise<CheckRow[]>;
  check(checkId: string): Promise<CheckRow>;
  events(checkId: string): Promise<CheckEvent[]>;

  /** Opens a check on this phone and stores its first event. Returns the check's id. */
  startCheck(input: StartCheck): Promise<string>;
  /**
   * Appends one event and returns the view after it. Resolves only when the event is
   * on disk. Calls for one check are queued, so fast taps are each kept, in order.
   * Rejects with the procedure's fault when the act is refused (nothing is stored),
   * with `storage.full` or `storage.stopped` when it could not be stored, and with
   * `check.elsewhere` when another tab wrote to this check meanwhile (call view again).
   */
  act<K extends EventKind>(checkId: string, kind: K, body: EventBodies[K]): Promise<View>;
  /** The view now; nothing is stored. Cheap enough to call each second. */
  view(checkId: string): Promise<View>;
  /**
   * Call when the check screen opens: after a cold start with this check running it
   * appends app.resumed once. While the screen is open it does so by itself after
   * the app was hidden for more than 5 s. The returned function ends that.
   */
  attend(checkId: string, changed: (view: View) => void): () => void;
  /** Recomputes hashes and links of a check's log; rejects naming the event that fails. */
  verify(checkId: string): Promise<void>;

  addReminder(reminder: NewReminder): Promise<Reminder>;
  editReminder(reminderId: string, fields: { due_date?: string; due_km?: number; reason?: string }): Promise<Reminder>;
  doneReminder(reminderId: string, byCheckId?: string): Promise<Reminder>;

  /** One computation of the trunk by its name, for example "visit-slots". */
  compute<T>(name: string, input: unknown): Promise<T>;

  /** Exchanges with the server now. Never rejects: look at status. */
  sync(): Promise<void>;
  outbox(): Promise<OutboxRow[]>;
  /** Puts a refused change back in the queue. */
  retry(changeId: string): Promise<void>;
  /** Everything not on the server, as a file that the server can import. */
  exportOutbox(): Promise<File>;

  /** The server's own lists; reject with `offline` without a connection. */
  fleetChecks(page?: { limit?: number; before?: string }): Promise<FleetPage>;
  evidence(checkId: string): Promise<Evidence>;

  set(settings: Partial<Settings>): Promise<void>;
  /** Switches to the stored new version and reloads. Rejects with `update.check_running` during a check. */
  applyUpdate(): Promise<void>;
  /** Asks the browser to keep our data; also done by itself after the first finished check. */
  askPersistence(): Promise<boolean>;
  /** Keeps the screen on until the returned function is called. Takes hold again after the app was hidden. */
  keepAwake(): () => void;
  /** Unix milliseconds now. */
  nowMS(): number;
}

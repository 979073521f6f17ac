/** Builds the App of seams.ts from its parts and keeps the live state true. */
import type { Core } from './core/bridge';
import { Fault } from './core/fault';
import { Checks } from './data/check';
import { Database } from './data/database';
import { eventsOf } from './data/event';
import { newID } from './data/ids';
import { openNews, type News, type NewsChannel } from './data/news';
import { isOf, outboxRows, type Author } from './data/outbox';
import { documents, document as documentOf, needed, profileEdition } from './data/records';
import { editReminder, fieldsOf, saveReminder, type Edit } from './data/reminder';
import { byLabel, checkRow, checkRows, todayRows, vehiclePage } from './data/rows';
import { Sync } from './data/sync';
import type { Clock } from './device/clock';
import * as persistence from './device/storage';
import { keepAwake } from './device/wakelock';
import * as live from './live.svelte';
import type { App, Evidence, FleetPage, OutboxRow, Settings, SyncStatus } from './seams';
import type { Fetch, Request } from './session/http';
import { Session } from './session/session';
import type { EventBodies, EventKind, Moment, Reminder, View } from './schema';
import { register, type Installed } from './sw/register';

const APP_VERSION = '1.0.0';
/** A check that nobody touched for so long no longer keeps a new release waiting. */
const CHECK_STALE_MS = 12 * 60 * 60 * 1000;

export interface AppNeeds {
  core: Core;
  clock: Clock;
  fetcher: Fetch;
  reload(): void;
  /** Another database than the phone's own, for tests. */
  databaseName?: string;
}

export function createApp(needs: AppNeeds): App {
  return new Assembled(needs);
}

class Assembled implements App {
  readonly session = live.session;
  readonly status: SyncStatus = live.status;
  readonly offline = live.offline;
  readonly storage = live.storage;
  readonly settings = live.settings;
  readonly changes = live.changes;

  readonly #needs: AppNeeds;
  readonly #db: Database;
  readonly #session: Session;
  readonly #checks: Checks;
  readonly #sync: Sync;
  readonly #news: NewsChannel;
  #installed: Installed = { switchOver: () => false };
  /** Checks whose screen is open in this tab. A reload waits for them. */
  readonly #attended = new Map<string, number>();
  #reloadWanted = false;
  #hidden: Moment | undefined;

  constructor(needs: AppNeeds) {
    const { core, clock, fetcher } = needs;
    this.#needs = needs;
    this.#db = new Database(needs.databaseName);
    this.#db.onFull = () => {
      live.storage.full = true;
    };
    this.#session = new Session({ db: this.#db, clock, fetcher, deviceName: deviceName(), changed: () => this.#showSession() });
    this.#checks = new Checks({
      db: this.#db,
      core,
      clock,
      deviceID: () => this.#session.deviceID,
      author: () => this.#session.author(),
      stored: (checkID, view) => this.#stored(checkID, view),
    });
    this.#sync = new Sync({
      db: this.#db,
      core,
      clock,
      session: this.#session,
      appVersion: APP_VERSION,
      random: () => (crypto.getRandomValues(new Uint32Array(1))[0] ?? 0) / 2 ** 32,
      changed: (what) => void this.#synced(what),
    });
    this.#news = openNews((news) => void this.#heard(news).catch(() => undefined));
  }

  async start(): Promise<void> {
    try {
      await this.#db.prove();
      await this.#session.restore();
      await this.#restoreSettings();
      await this.#countOutbox();
    } catch {
      // Nothing is kept here: the screens say so and offer no check.
      live.storage.usable = false;
    }
    document.addEventListener('visibilitychange', () => this.#noteHidden());
    void this.#lookAtStorage();
    void this.#follow();
  }

  async #follow(): Promise<void> {
    // After first paint: what follows must not hold up the first screen.
    await new Promise((painted) => requestAnimationFrame(() => setTimeout(painted, 0)));
    void this.#needs.core.warm().catch(() => undefined); // the first call says what is wrong
    void this.#install();
    if (live.storage.usable) {
      void this.#sync.follow();
      if (!(await this.#db.fillReserve())) live.storage.full = true;
    }
  }

  async #install(): Promise<void> {
    this.#installed = await register({
      changed: (state) => {
        live.offline.state = state.state;
        live.offline.ready = state.state === 'ready';
        live.offline.update = state.update;
        void this.#remember('install', { ...state });
      },
      reload: () => {
        this.#reloadWanted = true;
        this.#reloadIfFree();
      },
    });
  }

  async #restoreSettings(): Promise<void> {
    const [held, install] = await this.#db.run((open) => Promise.all([open.get('meta', 'settings'), open.get('meta', 'install')]));
    Object.assign(live.settings, live.DEFAULT_SETTINGS, held as Partial<Settings> | undefined);
    const known = install as { state?: string } | undefined;
    if (known?.state === 'ready' && navigator.serviceWorker?.controller != null) {
      live.offline.ready = true;
      live.offline.state = 'ready';
    }
  }

  async #lookAtStorage(): Promise<void> {
    live.storage.installed = persistence.isInstalled();
    live.storage.persistent = await persistence.isPersistent();
    Object.assign(live.storage, await persistence.usage());
  }

  async #remember(name: string, value: unknown): Promise<void> {
    await this.#db.run((open) => open.put('meta', value, name)).catch(() => undefined); // a convenience only
  }

  // --- session

  async signIn(email: string, password: string): Promise<void> {
    if (!live.storage.usable) throw new Fault('storage.stopped', '', 'this browser keeps nothing; open the app in an ordinary window');
    await this.#session.signIn(email, password);
    this.#checks.forget();
    this.#news.tell({ about: 'session' });
    await this.#countOutbox();
    this.#bump();
    void this.#sync.begin();
  }

  async signOut(options?: { discard?: boolean }): Promise<void> {
    await this.#session.signOut(options?.discard === true);
    this.#checks.forget();
    this.#news.tell({ about: 'session' });
    await this.#countOutbox();
    this.#bump();
    void this.#sync.begin();
  }

  #showSession(): void {
    live.session.state = this.#session.state;
    live.session.person = this.#session.remembered?.person ?? null;
    live.session.workshop = this.#session.remembered?.workshop ?? null;
    live.session.device_id = this.#session.deviceID;
    this.#showNeed();
  }

  /** The server refused the token, or refuses this person or this phone. */
  #showNeed(): void {
    const refused = this.#sync.refused && this.#session.state !== 'nobody';
    live.status.needs_sign_in = refused || this.#session.state === 'needs_sign_in';
  }

  // --- reading

  today() {
    const zone = this.#session.remembered?.workshop.time_zone ?? 'UTC';
    return todayRows(this.#db, zone, this.nowMS());
  }

  async vehicles() {
    return (await documents(this.#db, 'vehicle')).sort(byLabel);
  }

  vehicle(vehicleID: string) {
    return vehiclePage(this.#db, vehicleID);
  }

  async units() {
    return (await documents(this.#db, 'unit')).sort(byLabel);
  }

  async profiles() {
    return (await documents(this.#db, 'profile')).sort((a, b) => a.name.localeCompare(b.name));
  }

  profile(profileID: string, edition?: number) {
    return profileEdition(this.#db, profileID, edition);
  }

  cautions() {
    return documents(this.#db, 'caution');
  }

  persons() {
    return documents(this.#db, 'person');
  }

  checks(filter?: { vehicle_id?: string }) {
    return checkRows(this.#db, filter?.vehicle_id);
  }

  check(checkID: string) {
    return checkRow(this.#db, checkID);
  }

  events(checkID: string) {
    return eventsOf(this.#db, checkID);
  }

  // --- a check

  async startCheck(input: Parameters<App['startCheck']>[0]): Promise<string> {
    if (!live.storage.usable) throw new Fault('storage.stopped', '', 'this browser keeps nothing; no check can be recorded');
    const { vehicle_id: vehicleID, warmer, ...rest } = input;
    const vehicle = await needed(this.#db, 'vehicle', vehicleID, 'vehicle_id');
    const unit = await documentOf(this.#db, 'unit', vehicle.unit_id);
    return this.#checks.start(vehicleID, { ...rest, warmer: warmer ?? unit?.warmer ?? 'unknown' });
  }

  act<K extends EventKind>(checkID: string, kind: K, body: EventBodies[K]): Promise<View> {
    return this.#checks.act(checkID, kind, body);
  }

  view(checkID: string): Promise<View> {
    return this.#checks.view(checkID);
  }

  attend(checkID: string, changed: (view: View) => void): () => void {
    let open = true;
    this.#attended.set(checkID, (this.#attended.get(checkID) ?? 0) + 1);
    const tell = (view: View | undefined): void => {
      if (open && view !== undefined) changed(view);
    };
    const lost = (): void => undefined; // the screen's next act meets the same failure and shows it
    this.#checks.resume(checkID).then(tell, lost);
    const onVisible = (): void => {
      const hidden = this.#hidden;
      if (document.visibilityState === 'visible' && hidden !== undefined) this.#checks.resume(checkID, hidden).then(tell, lost);
    };
    document.addEventListener('visibilitychange', onVisible);
    return () => {
      if (!open) return;
      open = false;
      document.removeEventListener('visibilitychange', onVisible);
      const left = (this.#attended.get(checkID) ?? 1) - 1;
      if (left > 0) this.#attended.set(checkID, left);
      else this.#attended.delete(checkID);
      this.#reloadIfFree();
    };
  }

  async verify(checkID: string): Promise<void> {
    await this.#needs.core.call('verify-chain', { events: await eventsOf(this.#db, checkID) });
  }

  /** The moment the app was last hidden. Registered at start, before any screen listens. */
  #noteHidden(): void {
    if (document.visibilityState === 'hidden') this.#hidden = this.#needs.clock.now();
  }

  #stored(checkID: string, view: View): void {
    this.#news.tell({ about: 'check', check_id: checkID });
    this.#bump();
    void this.#countOutbox().catch(() => undefined);
    this.#sync.queued();
    if (view.state.phase === 'done' && live.storage.persistent !== true) void this.askPersistence();
  }

  // --- reminders

  async addReminder(input: Parameters<App['addReminder']>[0]): Promise<Reminder> {
    const reminder: Reminder = { ...input, id: newID(this.nowMS()) };
    await saveReminder(this.#db, { ...this.#edit(), reminder, fields: fieldsOf(reminder) });
    this.#reminderStored();
    return reminder;
  }

  async editReminder(reminderID: string, fields: Parameters<App['editReminder']>[1]): Promise<Reminder> {
    const reminder = await editReminder(this.#db, reminderID, fields, this.#edit());
    this.#reminderStored();
    return reminder;
  }

  async doneReminder(reminderID: string, byCheckID?: string): Promise<Reminder> {
    const done: Partial<Reminder> = { done_ms: this.nowMS() };
    if (byCheckID !== undefined) done.done_check = byCheckID;
    const reminder = await editReminder(this.#db, reminderID, done, this.#edit());
    this.#reminderStored();
    return reminder;
  }

  #edit(): Omit<Edit, 'reminder' | 'fields'> {
    const madeMS = this.nowMS();
    return { changeID: newID(madeMS), device: this.#session.deviceID, madeMS, author: this.#author() };
  }

  #author(): Author {
    const author = this.#session.author();
    if (author === undefined) throw new Fault('session.nobody', '', 'sign in first');
    return author;
  }

  #reminderStored(): void {
    this.#news.tell({ about: 'outbox' });
    this.#bump();
    void this.#countOutbox().catch(() => undefined);
    this.#sync.queued();
  }

  // --- the trunk and the server

  compute<T>(name: string, input: unknown): Promise<T> {
    return this.#needs.core.call<T>(name, input);
  }

  async sync(): Promise<void> {
    this.#news.tell({ about: 'sync' }); // another tab may be the one that leads
    await this.#sync.now().catch(() => undefined); // what became of it stands in status
  }

  async outbox(): Promise<OutboxRow[]> {
    const author = this.#session.author() ?? null;
    return (await outboxRows(this.#db)).map((row) => {
      const sending = this.#sync.sending.has(row.id);
      const state = !isOf(row, author) ? 'parked' : row.state === 'refused' ? 'refused' : sending ? 'sending' : 'waiting';
      const { id, dseq, kind, made_ms, size_bytes, person_id } = row;
      const shown: OutboxRow = { id, dseq, kind, made_ms, size_bytes, person_id, state };
      if (row.code !== undefined) shown.code = row.code;
      if (row.check_id !== undefined) shown.check_id = row.check_id;
      return shown;
    });
  }

  async retry(changeID: string): Promise<void> {
    await this.#db.write(['outbox'], async (tx) => {
      const row = await tx.objectStore('outbox').get(changeID);
      if (row === undefined) return;
      const { code: _code, detail: _detail, not_before_ms: _notBefore, ...rest } = row;
      await tx.objectStore('outbox').put({ ...rest, state: 'waiting' });
    });
    await this.#countOutbox();
    this.#sync.queued();
  }

  async exportOutbox(): Promise<File> {
    const rows = await outboxRows(this.#db);
    const made = this.nowMS();
    const content = {
      format: 'brimline-outbox',
      v: 1,
      device: this.#session.deviceID,
      made_ms: made,
      changes: rows.map(({ id, dseq, kind, v, body, person_id, workshop_id, made_ms }) => ({
        id, dseq, kind, v, body, person_id, workshop_id, made_ms,
      })),
    };
    const name = `brimline-${new Date(made).toISOString().slice(0, 10)}.json`;
    return new File([JSON.stringify(content, null, 1)], name, { type: 'application/json' });
  }

  fleetChecks(page?: { limit?: number; before?: string }): Promise<FleetPage> {
    const query = new URLSearchParams();
    if (page?.limit !== undefined) query.set('limit', String(page.limit));
    if (page?.before !== undefined) query.set('before', page.before);
    return this.#fetched<FleetPage>({ method: 'GET', path: `/api/v1/checks?${query}` });
  }

  evidence(checkID: string): Promise<Evidence> {
    return this.#fetched<Evidence>({ method: 'GET', path: `/api/v1/checks/${encodeURIComponent(checkID)}` });
  }

  async #fetched<T>(asked: Request): Promise<T> {
    const outcome = await this.#session.request(asked);
    if (outcome.kind === 'answer') return outcome.body as T;
    if (outcome.kind === 'problem') throw new Fault(outcome.code, outcome.field, outcome.detail);
    throw new Fault('offline', '', 'the server cannot be reached; try again with a connection');
  }

  // --- the phone

  async set(settings: Partial<Settings>): Promise<void> {
    Object.assign(live.settings, settings);
    const held = { ...live.settings };
    await this.#db.write(['meta'], async (tx) => void (await tx.objectStore('meta').put(held, 'settings')));
  }

  async applyUpdate(): Promise<void> {
    const now = this.nowMS();
    const entries = await this.#db.run((open) => open.getAll('checks'));
    const running = entries.some((e) => e.ours && e.summary.phase !== 'done' && Math.abs(now - e.last_ms) < CHECK_STALE_MS);
    if (running || this.#attended.size > 0) throw new Fault('update.check_running', '', 'finish the running check first');
    if (!this.#installed.switchOver()) throw new Fault('update.none', '', 'there is no newer version on this phone');
  }

  #reloadIfFree(): void {
    if (this.#reloadWanted && this.#attended.size === 0) this.#needs.reload();
  }

  async askPersistence(): Promise<boolean> {
    const granted = await persistence.askPersistence();
    live.storage.persistent = granted;
    return granted;
  }

  keepAwake(): () => void {
    return keepAwake();
  }

  nowMS(): number {
    return this.#needs.clock.now().wall_ms;
  }

  // --- keeping the live state true

  #bump(): void {
    live.changes.n++;
  }

  async #heard(news: News): Promise<void> {
    if (news.about === 'status') {
      if (this.#sync.leading || news.person_id !== this.#session.remembered?.person.id) return;
      live.status.mode = news.mode;
      live.status.last_ok_ms = news.last_ok_ms;
      this.#session.heard(news.reached);
      return;
    }
    if (news.about === 'check') this.#checks.forget(news.check_id);
    if (news.about === 'sync') await this.#sync.now();
    if (news.about === 'session') {
      this.#checks.forget();
      await this.#session.restore();
      await this.#sync.begin();
    }
    if (news.about === 'outbox' || news.about === 'check') this.#sync.queued();
    await this.#countOutbox();
    this.#bump();
  }

  async #synced(what: 'mode' | 'outbox' | 'documents'): Promise<void> {
    live.status.mode = this.#sync.mode;
    live.status.last_ok_ms = this.#sync.lastOkMS;
    this.#showNeed();
    const person = this.#session.remembered?.person.id;
    if (person !== undefined) {
      const reached = this.#session.state === 'valid';
      this.#news.tell({ about: 'status', person_id: person, reached, mode: this.#sync.mode, last_ok_ms: this.#sync.lastOkMS });
    }
    if (what === 'documents') {
      this.#news.tell({ about: 'documents' });
      this.#bump();
    }
    if (what === 'outbox') await this.#countOutbox().catch(() => undefined);
  }

  async #countOutbox(): Promise<void> {
    const author = this.#session.author() ?? null;
    const rows = await outboxRows(this.#db);
    const mine = rows.filter((row) => isOf(row, author));
    const waiting = mine.filter((row) => row.state === 'waiting');
    live.status.waiting = waiting.length;
    live.status.oldest_ms = waiting.reduce<number | null>((oldest, row) => (oldest === null ? row.made_ms : Math.min(oldest, row.made_ms)), null);
    live.status.attention = mine.length - waiting.length;
    live.status.parked = rows.length - mine.length;
  }
}

/** What the device list on the server calls this phone until someone names it. */
function deviceName(): string {
  const platform = (navigator as { userAgentData?: { platform?: string } }).userAgentData?.platform;
  return platform === undefined || platform === '' ? 'phone' : platform;
}

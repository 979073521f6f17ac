/**
 * The hands of the sync machine (sync/phone, in the trunk): it decides what to send and
 * when, this does it and reports back. One visible tab at a time leads, under the lock
 * `sync`; the others only queue. Nothing here ever keeps an act from being stored.
 */
import type { Core } from '../core/bridge';
import type { Clock } from '../device/clock';
import { withLock } from '../device/lock';
import type { Outcome } from '../session/http';
import type { Session } from '../session/session';
import type { Database, OutboxEntry } from './database';
import { isOf, outboxRows } from './outbox';
import { applyPage, pruneSent, resetDownload, syncMark, type Item } from './page';

const PROTOCOL = 1;
const PAGE_LIMIT = 500;
/** Acts come in bursts; a push waits so long for the next one. */
const GATHER_MS = 1_500;

interface Pending {
  id: string;
  dseq: number;
  size_bytes: number;
  check_id?: string;
  fails?: number;
  first_fail_ms?: number;
  not_before_ms?: number;
}

interface MachineState {
  mode: 'idle' | 'pushing' | 'pulling' | 'waiting' | 'signed_out';
  need?: string;
  failures: number;
  epoch: string;
  cursor: string;
  [more: string]: unknown;
}

interface Effect {
  kind: string;
  ids?: string[];
  cursor?: string;
  epoch?: string;
  at_ms?: number;
  id?: string;
  state?: 'waiting' | 'sending' | 'held' | 'attention';
  code?: string;
  seq?: number;
  fails?: number;
  first_fail_ms?: number;
  not_before_ms?: number;
}

type Input = { kind: string } & Record<string, unknown>;

interface Result {
  id: string;
  status: string;
  code?: string;
  seq?: number;
  retry_after_s?: number;
  problem?: { detail?: string; title?: string };
}

export type SyncMode = 'idle' | 'busy' | 'offline' | 'unwell';

export interface SyncNeeds {
  db: Database;
  core: Core;
  clock: Clock;
  session: Session;
  appVersion: string;
  random(): number;
  /** Told when the mode, the queue or the documents changed. */
  changed(what: 'mode' | 'outbox' | 'documents'): void;
}

export class Sync {
  mode: SyncMode = 'idle';
  /** Ids on their way to the server now. */
  sending = new Set<string>();
  lastOkMS: number | null = null;
  /** This tab does the exchanging. */
  get leading(): boolean {
    return this.#leading;
  }
  /** Nothing is under way: the machine rests, backs off, or waits for a sign-in. */
  get settled(): boolean {
    return this.#state !== undefined && !this.#busy();
  }
  /** The machine stopped sending until someone signs in. */
  get refused(): boolean {
    return this.#state?.mode === 'signed_out';
  }
  readonly #needs: SyncNeeds;
  #state: MachineState | undefined;
  /** Inputs are taken one after another; an effect's report is an input like any other. */
  #tail: Promise<void> = Promise.resolve();
  #wake: ReturnType<typeof setTimeout> | undefined;
  #gather: ReturnType<typeof setTimeout> | undefined;
  /** Answers of an older flight are not this machine's any more. */
  #flight = 0;
  #page: { items: Item[]; more: boolean } | undefined;
  #results = new Map<string, Result>();
  #unreachable = false;
  #leading = false;
  #endLead: (() => void) | undefined;
  #quiet: (() => void)[] = [];
  readonly #stopped = new AbortController();

  constructor(needs: SyncNeeds) {
    this.#needs = needs;
  }

  /** Leads whenever this tab is visible and no other does, until stop or the page goes. */
  async follow(): Promise<void> {
    this.lastOkMS = (await syncMark(this.#needs.db)).last_ok_ms;
    const { signal } = this.#stopped;
    window.addEventListener('online', () => this.#poke('online'), { signal });
    const seen = (): void => {
      if (document.visibilityState === 'visible') this.#poke('visible');
      else this.#releaseWhenQuiet();
    };
    document.addEventListener('visibilitychange', seen, { signal });
    while (!signal.aborted) {
      await visible();
      await withLock('sync', () => this.#lead());
    }
  }

  /** Gives up leading for good. What is in flight may still arrive; its answer is not looked at. */
  stop(): void {
    this.#stopped.abort();
    clearTimeout(this.#gather);
    this.#endLead?.();
  }

  /** The queue grew. The machine is told a moment later, once for many. */
  queued(): void {
    clearTimeout(this.#gather);
    this.#gather = setTimeout(() => void this.#tellRows(), GATHER_MS);
  }

  /** The person asks, or another tab does. Resolves when there is nothing more to do for now. */
  async now(): Promise<void> {
    if (!this.#leading) return;
    await this.#tellRows();
    await this.#input({ kind: 'user_sync' });
    await this.#untilQuiet();
  }

  /** Somebody signed in or out, or the session was settled elsewhere: begin again from storage. */
  async begin(): Promise<void> {
    if (!this.#leading) return;
    this.#flight++;
    this.sending.clear();
    const { db, session } = this.#needs;
    const mark = await syncMark(db);
    const started: Input = { kind: 'started', rows: await this.#rows(), cursor: mark.cursor, epoch: mark.epoch };
    if (session.state === 'nobody') started['session'] = 'needs_sign_in';
    this.#state = undefined;
    await this.#input(started);
  }

  async #lead(): Promise<void> {
    if (document.visibilityState !== 'visible' || this.#stopped.signal.aborted) return;
    this.#leading = true;
    const ended = new Promise<void>((end) => {
      this.#endLead = end;
    });
    await pruneSent(this.#needs.db, this.#nowMS()).catch(() => undefined);
    await this.#needs.session.finishSignOut().catch(() => undefined);
    await this.begin();
    await ended;
    this.#leading = false;
    this.#flight++;
    clearTimeout(this.#wake);
  }

  #releaseWhenQuiet(): void {
    void this.#untilQuiet().then(() => {
      if (document.visibilityState !== 'visible') this.#endLead?.();
    });
  }

  #poke(kind: 'online' | 'visible'): void {
    if (this.#leading) void this.#input({ kind });
  }

  async #tellRows(): Promise<void> {
    if (this.#leading) await this.#input({ kind: 'changed', rows: await this.#rows() });
  }

  /** What is to be sent for the person who works here now. */
  async #rows(): Promise<Pending[]> {
    const author = this.#needs.session.author() ?? null;
    const rows = await outboxRows(this.#needs.db);
    return rows.filter((row) => row.state === 'waiting' && isOf(row, author)).map(pendingOf);
  }

  #input(input: Input): Promise<void> {
    this.#tail = this.#tail.then(() => this.#step(input)).catch(() => this.#startOver());
    return this.#tail;
  }

  /** The trunk or the storage failed in the middle: the machine is built anew from storage, later. */
  #startOver(): void {
    this.#state = undefined;
    this.mode = 'unwell';
    this.#needs.changed('mode');
    clearTimeout(this.#wake);
    this.#wake = setTimeout(() => void this.begin(), 30_000);
    this.#settleQuiet();
  }

  async #step(input: Input): Promise<void> {
    const { core, random } = this.#needs;
    if (this.#state === undefined && input.kind !== 'started') return;
    const asked = { state: this.#state ?? {}, input: { ...input, now_ms: this.#nowMS(), random: random() } };
    const { state, effects } = await core.call<{ state: MachineState; effects: Effect[] }>('phone-step', asked);
    this.#state = state;
    await this.#mark(effects.filter((effect) => effect.kind === 'mark'));
    for (const effect of effects) await this.#do(effect);
    this.#show();
  }

  async #do(effect: Effect): Promise<void> {
    switch (effect.kind) {
      case 'push':
        return this.#launch(() => this.#push(effect.ids ?? []));
      case 'pull':
        return this.#launch(() => this.#pull(effect.cursor ?? ''));
      case 'apply_page':
        return this.#launch(() => this.#store(effect));
      case 'refresh_session':
        return this.#launch(async () => {
          const word = await this.#needs.session.renew();
          this.#unreachable = word === 'unreachable';
          return { kind: 'session', session: word };
        });
      case 'reset':
        return this.#launch(() => this.#reset());
      case 'abort':
        this.#flight++;
        return;
      case 'wake':
        clearTimeout(this.#wake);
        this.#wake = setTimeout(() => void this.#input({ kind: 'tick' }), Math.max(50, (effect.at_ms ?? 0) - this.#nowMS()));
        return;
    }
  }

  /** Begins a job; its report becomes an input unless it was given up meanwhile. */
  #launch(job: () => Promise<Input | undefined>): void {
    const flight = ++this.#flight;
    void job()
      .catch((): Input | undefined => undefined) // no report: the machine's own time limit ends the wait
      .then((report) => {
        if (report !== undefined && flight === this.#flight) void this.#input(report);
      });
  }

  async #push(ids: string[]): Promise<Input> {
    const { db, session, clock, appVersion } = this.#needs;
    const wanted = new Map((await outboxRows(db)).map((row) => [row.id, row]));
    const rows = ids.map((id) => wanted.get(id)).filter((row) => row !== undefined);
    const body = {
      proto: PROTOCOL,
      app: appVersion,
      device: session.deviceID,
      epoch: this.#state?.epoch ?? '',
      cursor: this.#state?.cursor ?? '',
      sent_wall_ms: clock.now().wall_ms,
      changes: rows.map(({ id, dseq, kind, v, body: change }) => ({ id, dseq, kind, v, body: change })),
    };
    const outcome = await session.request({ method: 'POST', path: '/api/v1/sync/push', body });
    const answer = this.#answer<{ epoch: string; results: Result[] }>(outcome, (a) => typeof a.epoch === 'string' && Array.isArray(a.results));
    if (answer === undefined) return failed('push_failed', outcome);
    for (const result of answer.results) this.#results.set(result.id, result);
    const results = answer.results.map(({ problem: _problem, ...rest }) => rest);
    return { kind: 'push_answered', epoch: answer.epoch, results };
  }

  async #pull(cursor: string): Promise<Input> {
    const path = `/api/v1/sync/pull?cursor=${encodeURIComponent(cursor)}&limit=${PAGE_LIMIT}`;
    const outcome = await this.#needs.session.request({ method: 'GET', path });
    const answer = this.#answer<{ epoch: string; items: Item[]; next: string; more: boolean }>(
      outcome,
      (a) => typeof a.epoch === 'string' && Array.isArray(a.items) && typeof a.next === 'string' && typeof a.more === 'boolean',
    );
    if (answer === undefined) return failed('pull_failed', outcome);
    this.#page = { items: answer.items, more: answer.more };
    if (!answer.more) this.lastOkMS = this.#nowMS();
    return { kind: 'pull_answered', epoch: answer.epoch, next: answer.next, more: answer.more };
  }

  /** The body of an answer of the promised shape; anything else is nobody's answer. */
  #answer<T>(outcome: Outcome, shaped: (body: T) => boolean): T | undefined {
    this.#unreachable = outcome.kind === 'unreachable';
    if (outcome.kind !== 'answer' || typeof outcome.body !== 'object' || outcome.body === null) return undefined;
    const body = outcome.body as T;
    if (shaped(body)) return body;
    this.#unreachable = true;
    return undefined;
  }

  async #store(effect: Effect): Promise<Input> {
    const page = this.#page;
    this.#page = undefined;
    if (page === undefined) return { kind: 'page_failed' };
    try {
      await applyPage(this.#needs.db, {
        items: page.items,
        more: page.more,
        cursor: effect.cursor ?? '',
        epoch: effect.epoch ?? '',
        nowMS: this.#nowMS(),
      });
    } catch {
      return { kind: 'page_failed' };
    }
    if (page.items.length > 0) this.#needs.changed('documents');
    return { kind: 'page_applied' };
  }

  async #reset(): Promise<Input> {
    await resetDownload(this.#needs.db, this.#needs.session.author());
    return { kind: 'reset_done', rows: await this.#rows() };
  }

  /** Notes what became of changes. Held ones leave the queue and are kept aside, in one transaction. */
  async #mark(marks: Effect[]): Promise<void> {
    for (const mark of marks) {
      if (mark.state === 'sending') this.sending.add(mark.id ?? '');
      else this.sending.delete(mark.id ?? '');
    }
    const lasting = marks.filter((mark) => mark.state !== 'sending' && (mark.state !== 'waiting' || mark.code !== undefined || mark.fails !== undefined));
    if (lasting.length > 0) {
      await this.#needs.db.write(['outbox', 'sent'], async (tx) => {
        for (const mark of lasting) {
          const row = await tx.objectStore('outbox').get(mark.id ?? '');
          if (row === undefined) continue;
          if (mark.state === 'held') {
            await tx.objectStore('sent').put({ id: row.id, seq: mark.seq ?? 0, held_ms: this.#nowMS(), entry: row });
            await tx.objectStore('outbox').delete(row.id);
          } else {
            await tx.objectStore('outbox').put(this.#marked(row, mark));
          }
        }
      });
    }
    for (const mark of marks) if (mark.state !== 'sending') this.#results.delete(mark.id ?? '');
    if (marks.length > 0) this.#needs.changed('outbox');
  }

  #marked(row: OutboxEntry, mark: Effect): OutboxEntry {
    const problem = this.#results.get(row.id)?.problem;
    const detail = problem?.detail ?? problem?.title;
    const next: OutboxEntry = { ...row, state: mark.state === 'attention' ? 'refused' : 'waiting' };
    if (mark.code !== undefined) next.code = mark.code;
    if (detail !== undefined) next.detail = detail;
    if (mark.fails !== undefined) next.fails = mark.fails;
    if (mark.first_fail_ms !== undefined) next.first_fail_ms = mark.first_fail_ms;
    if (mark.not_before_ms !== undefined) next.not_before_ms = mark.not_before_ms;
    return next;
  }

  /** A request is on its way, or a job that has to end before the next one. */
  #busy(): boolean {
    const { mode, need } = this.#state ?? { mode: 'idle' };
    return mode === 'pushing' || mode === 'pulling' || (mode === 'waiting' && (need ?? '') !== '');
  }

  #show(): void {
    const failures = this.#state?.failures ?? 0;
    const busy = this.#busy();
    const resting = failures > 0 ? (this.#unreachable ? 'offline' : 'unwell') : 'idle';
    const shown: SyncMode = busy ? (this.mode === 'offline' ? 'offline' : 'busy') : resting;
    if (shown !== this.mode) this.mode = shown;
    this.#needs.changed('mode');
    if (!busy) this.#settleQuiet();
  }

  #untilQuiet(): Promise<void> {
    if (!this.#busy()) return Promise.resolve();
    return new Promise((done) => this.#quiet.push(done));
  }

  #settleQuiet(): void {
    for (const done of this.#quiet.splice(0)) done();
  }

  #nowMS(): number {
    return this.#needs.clock.now().wall_ms;
  }
}

function pendingOf(row: OutboxEntry): Pending {
  const pending: Pending = { id: row.id, dseq: row.dseq, size_bytes: row.size_bytes };
  if (row.check_id !== undefined) pending.check_id = row.check_id;
  if (row.fails !== undefined) pending.fails = row.fails;
  if (row.first_fail_ms !== undefined) pending.first_fail_ms = row.first_fail_ms;
  if (row.not_before_ms !== undefined) pending.not_before_ms = row.not_before_ms;
  return pending;
}

function failed(kind: string, outcome: Outcome): Input {
  const input: Input = { kind, status: outcome.kind === 'problem' ? outcome.status : 0 };
  if (outcome.kind === 'problem' && outcome.retryAfterS !== undefined) input['retry_after_s'] = outcome.retryAfterS;
  return input;
}

function visible(): Promise<void> {
  if (document.visibilityState === 'visible') return Promise.resolve();
  return new Promise((shown) => {
    document.addEventListener('visibilitychange', function look() {
      if (document.visibilityState !== 'visible') return;
      document.removeEventListener('visibilitychange', look);
      shown();
    });
  });
}

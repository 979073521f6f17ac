/**
 * Who works on this phone, and whether the server believes it. The access token lives
 * in memory only; the refresh token is a cookie that no script can read. Who signed in
 * is remembered without a secret, so that a phone without signal, or with an expired
 * token, still opens and records: only the server's own word ends a session, and even
 * that ends sending, never working.
 */
import { Fault } from '../core/fault';
import type { Database } from '../data/database';
import { newID } from '../data/ids';
import { outboxRows, isOf, type Author } from '../data/outbox';
import type { Clock } from '../device/clock';
import { withLock } from '../device/lock';
import type { Person, Workshop } from '../schema';
import { request, type Fetch, type Outcome, type Request } from './http';

/** Tokens are renewed this long before they end, so that a slow request still arrives in time. */
const RENEW_BEFORE_MS = 30_000;
/** Signing in may wait for the server's slow password hash. */
const SIGN_IN_BUDGET_MS = 15_000;

export type SessionState = 'nobody' | 'valid' | 'stale' | 'needs_sign_in';

/** What is remembered on the phone: no secret. */
export interface Remembered {
  person: Person;
  workshop: Workshop;
}

interface Token {
  text: string;
  /** By the monotonic clock of this page: a changed calendar must not end or stretch it. */
  endsMonoMS: number;
}

interface Grant {
  access_token: string;
  expires_in_s: number;
  person: Person;
  workshop: Workshop;
  device_id: string;
}

export interface SessionNeeds {
  db: Database;
  clock: Clock;
  fetcher: Fetch;
  deviceName: string;
  changed(): void;
}

export class Session {
  state: SessionState = 'nobody';
  remembered: Remembered | undefined;
  deviceID = '';
  readonly #needs: SessionNeeds;
  #token: Token | undefined;

  constructor(needs: SessionNeeds) {
    this.#needs = needs;
  }

  /** Reads who signed in here last. Makes the phone's own id on the first start. */
  async restore(): Promise<void> {
    const { db, clock } = this.#needs;
    this.deviceID = await db.write(['meta'], async (tx) => {
      const meta = tx.objectStore('meta');
      const held = await meta.get('device_id');
      if (typeof held === 'string') return held;
      const made = newID(clock.now().wall_ms);
      await meta.put(made, 'device_id');
      return made;
    });
    const before = this.remembered?.person.id;
    this.remembered = (await db.run((open) => open.get('meta', 'session'))) as Remembered | undefined;
    if (this.remembered?.person.id !== before) this.#token = undefined;
    this.#become(this.remembered === undefined ? 'nobody' : this.#token === undefined ? 'stale' : this.state);
  }

  author(): Author | undefined {
    const held = this.remembered;
    return held === undefined ? undefined : { person_id: held.person.id, workshop_id: held.workshop.id };
  }

  /**
   * Signs in with the server. Rejects with its code (auth.wrong, auth.slow), or with
   * `offline`. Documents of another workshop are cleared; what another person has not
   * sent yet stays on the phone, parked.
   */
  async signIn(email: string, password: string): Promise<void> {
    await withLock('auth', async () => {
      const body = { email, password, device_id: this.deviceID, device_name: this.#needs.deviceName };
      const path = '/api/v1/session';
      const outcome = await request(this.#needs.fetcher, { method: 'POST', path, body, budgetMS: SIGN_IN_BUDGET_MS });
      const grant = grantOf(outcome);
      const previous = (await this.#needs.db.run((open) => open.get('meta', 'session_workshop'))) as string | undefined;
      if (previous !== undefined && previous !== grant.workshop.id) await this.#clearShared();
      await this.#remember(grant);
      this.#hold(grant);
    });
  }

  /**
   * Ends the session and clears the phone. Rejects with `session.outbox_waiting` while
   * this person's changes are not on the server, unless `discard` says to lose them.
   */
  async signOut(discard: boolean): Promise<void> {
    const { db, fetcher } = this.#needs;
    const author = this.author();
    const mine = (await outboxRows(db)).filter((row) => isOf(row, author ?? null));
    if (mine.length > 0 && !discard) {
      throw new Fault('session.outbox_waiting', '', `${mine.length} entries are not on the server yet; send or export them first`);
    }
    await withLock('auth', async () => {
      await this.#clearPerson(author);
      const asked: Request = { method: 'DELETE', path: '/api/v1/session' };
      if (this.#token !== undefined) asked.token = this.#token.text;
      this.#token = undefined;
      this.remembered = undefined;
      this.#become('nobody');
      await this.#endCookie(asked, fetcher);
    });
  }

  /** Ends on the server what a sign-out without signal could not end. */
  async finishSignOut(): Promise<void> {
    const pending = await this.#needs.db.run((open) => open.get('meta', 'sign_out_pending'));
    if (pending === true && this.remembered === undefined) {
      await withLock('auth', () => this.#endCookie({ method: 'DELETE', path: '/api/v1/session' }, this.#needs.fetcher));
    }
  }

  /** Like http.request, with this person's token; it is renewed before it ends, and once when refused. */
  async request(asked: Request): Promise<Outcome> {
    const first = await this.#renewed(false);
    if (typeof first !== 'string') return first;
    const outcome = await this.#ask({ ...asked, token: first });
    if (outcome.kind !== 'problem' || outcome.status !== 401) return outcome;
    const second = await this.#renewed(true, first);
    return typeof second === 'string' ? this.#ask({ ...asked, token: second }) : second;
  }

  /** Another tab, signed in as the same person, reached the server or did not. */
  heard(reached: boolean): void {
    if (reached && this.state === 'stale') this.#become('valid');
    if (!reached && this.state === 'valid') this.#become('stale');
  }

  /** Asks for a new token now. What the answer means for sending. */
  async renew(): Promise<'valid' | 'needs_sign_in' | 'unreachable'> {
    const outcome = await this.#renewed(true, this.#token?.text ?? '');
    if (typeof outcome === 'string') return 'valid';
    return outcome.kind === 'problem' && outcome.status === 401 ? 'needs_sign_in' : 'unreachable';
  }

  async #ask(asked: Request): Promise<Outcome> {
    const outcome = await request(this.#needs.fetcher, asked);
    if (outcome.kind === 'unreachable' && this.state === 'valid') this.#become('stale');
    if (outcome.kind === 'answer' && this.state === 'stale') this.#become('valid');
    return outcome;
  }

  /** A usable token, or the outcome that says why there is none. */
  async #renewed(force: boolean, refused = ''): Promise<string | Outcome> {
    return withLock('auth', async () => {
      const held = this.#token;
      const fresh = held !== undefined && held.endsMonoMS - this.#needs.clock.now().mono_ms > RENEW_BEFORE_MS;
      if (held !== undefined && fresh && (!force || held.text !== refused)) return held.text;
      if (this.remembered === undefined) return refusal('auth.missing');
      const outcome = await request(this.#needs.fetcher, { method: 'POST', path: '/api/v1/session/refresh' });
      if (outcome.kind === 'answer') return this.#accept(outcome);
      if (outcome.kind === 'problem' && outcome.status === 401) {
        this.#token = undefined;
        this.#become('needs_sign_in');
      } else if (this.state === 'valid') {
        this.#become('stale');
      }
      return outcome;
    });
  }

  /** The cookie may be somebody else's who signed in here in another tab: their token must not send our rows. */
  async #accept(outcome: Outcome): Promise<string | Outcome> {
    let grant: Grant;
    try {
      grant = grantOf(outcome);
    } catch (x) {
      return { kind: 'unreachable', reason: String(x) };
    }
    if (grant.person.id !== this.remembered?.person.id) {
      this.#token = undefined;
      this.#become('needs_sign_in');
      return refusal('session.other_person');
    }
    await this.#remember(grant);
    this.#hold(grant);
    return grant.access_token;
  }

  #hold(grant: Grant): void {
    this.#token = {
      text: grant.access_token,
      endsMonoMS: this.#needs.clock.now().mono_ms + grant.expires_in_s * 1000,
    };
    this.remembered = { person: grant.person, workshop: grant.workshop };
    this.#become('valid');
  }

  async #remember(grant: Grant): Promise<void> {
    const held: Remembered = { person: grant.person, workshop: grant.workshop };
    await this.#needs.db.write(['meta'], async (tx) => {
      await tx.objectStore('meta').put(held, 'session');
      await tx.objectStore('meta').put(grant.workshop.id, 'session_workshop');
      await tx.objectStore('meta').delete('sign_out_pending');
    });
  }

  #become(state: SessionState): void {
    this.state = state;
    this.#needs.changed();
  }

  /** Another workshop's documents must not be seen by this one. Parked changes carry their own bodies. */
  async #clearShared(): Promise<void> {
    await this.#needs.db.write(['records', 'checks', 'events', 'sent', 'meta'], async (tx) => {
      await tx.objectStore('records').clear();
      await tx.objectStore('checks').clear();
      await tx.objectStore('events').clear();
      await tx.objectStore('sent').clear();
      await tx.objectStore('meta').delete('sync');
    });
  }

  /** Forgets everything but the phone's own id and counters and what other people have not sent. */
  async #clearPerson(author: Author | undefined): Promise<void> {
    await this.#needs.db.write(['records', 'checks', 'events', 'outbox', 'sent', 'meta'], async (tx) => {
      await tx.objectStore('records').clear();
      await tx.objectStore('checks').clear();
      await tx.objectStore('events').clear();
      await tx.objectStore('sent').clear();
      for (const row of await tx.objectStore('outbox').getAll()) {
        if (isOf(row, author ?? null)) await tx.objectStore('outbox').delete(row.id);
      }
      for (const name of ['session', 'session_workshop', 'sync']) await tx.objectStore('meta').delete(name);
      await tx.objectStore('meta').put(true, 'sign_out_pending');
    });
  }

  async #endCookie(asked: Request, fetcher: Fetch): Promise<void> {
    const outcome = await request(fetcher, asked);
    // Any word of the server means that the cookie is worth nothing any more.
    if (outcome.kind !== 'unreachable') await this.#needs.db.run((open) => open.delete('meta', 'sign_out_pending'));
  }
}

function refusal(code: string): Outcome {
  return { kind: 'problem', status: 401, code, field: '', detail: '', retryAfterS: undefined };
}

/** Takes a sign-in answer apart, or throws the fault it stands for. */
function grantOf(outcome: Outcome): Grant {
  if (outcome.kind === 'unreachable') throw new Fault('offline', '', 'the server cannot be reached; try again with a connection');
  if (outcome.kind === 'problem') throw new Fault(outcome.code, outcome.field, outcome.detail);
  const grant = outcome.body as Partial<Grant> | undefined;
  const { access_token, expires_in_s, person, workshop, device_id } = grant ?? {};
  if (typeof access_token !== 'string' || typeof expires_in_s !== 'number' || person === undefined || workshop === undefined) {
    throw new Fault('offline', '', 'something else answered in the place of the server');
  }
  return { access_token, expires_in_s, person, workshop, device_id: device_id ?? '' };
}

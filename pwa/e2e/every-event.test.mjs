/**
 * For every k: a full check during which the page is reloaded right after its k-th
 * entry must end as the undisturbed one does. Driven through the app's own object,
 * by its own clock, so that each run is the same to the millisecond.
 */
import assert from 'node:assert/strict';
import { readFile } from 'node:fs/promises';
import { test } from 'node:test';
import { errorsOf, firstPage, open, profile } from './browser.mjs';
import { sidePlugVehicles, signedIn } from './person.mjs';
import { serve } from './server.mjs';

const { acts } = JSON.parse(await readFile(new URL('../../testdata/checks/side-plug.json', import.meta.url)));
const STARTED_MS = Date.UTC(2026, 4, 12, 7, 30);

/**
 * Both clocks of the page stand still and are moved by `setNow`. A reload keeps the calendar
 * and starts the other anew; that one never goes back, not even when the next run begins.
 */
function steppedClocks(startMS) {
  let nowMS = Number(sessionStorage.getItem('now') ?? startMS);
  let sinceLoadMS = 1000;
  Date.now = () => nowMS;
  performance.now = () => sinceLoadMS;
  globalThis.setNow = (ms) => {
    sinceLoadMS += Math.max(0, ms - nowMS);
    nowMS = ms;
    sessionStorage.setItem('now', String(ms));
  };
}

/** The whole check as acts with their seconds: opening, cautions, then the recorded ones. */
async function script(page) {
  const cautions = await page.evaluate(() => globalThis.brimlineTest.cautions());
  const read = cautions.map((c, k) => ({ t_s: 1 + k, kind: 'caution.acknowledged', body: { caution_id: c.id, edition: c.edition } }));
  return [...read, ...acts];
}

async function begin(page, vehicle) {
  return page.evaluate(([at, vehicle_id]) => {
    globalThis.setNow(at);
    return globalThis.brimlineTest.startCheck({ vehicle_id, reason: 'level_check', cooler_circuit: 'untouched', cycle: 1, raised: false, indoors: false, warmer: 'no' });
  }, [STARTED_MS, vehicle.id]);
}

/** Performs acts at their times; the view after the last. */
async function perform(page, checkID, part) {
  return page.evaluate(async ([id, at, part]) => {
    let view = await globalThis.brimlineTest.view(id);
    for (const act of part) {
      globalThis.setNow(at + Math.round(act.t_s * 1000));
      view = await globalThis.brimlineTest.act(id, act.kind, act.body);
    }
    return view;
  }, [checkID, STARTED_MS, part]);
}

/** Reloads, and does what the screen and a careful person then do. */
async function reload(page, checkID) {
  await page.reload();
  await page.waitForFunction(() => globalThis.brimlineTest !== undefined);
  return page.evaluate(async (id) => {
    const app = globalThis.brimlineTest;
    const before = await app.view(id);
    const back = await new Promise((done) => {
      const leave = app.attend(id, (view) => done({ leave, view }));
      if (before.state.phase === 'done') done({ leave, view: before });
    });
    back.leave();
    // A hold that the reload cut short is held again, as the screen asks.
    if (back.view.next.code === 'exercise_again') await app.act(id, 'exercise.position', { position: back.view.next.argument });
    return { before, after: back.view };
  }, checkID);
}

/** What a check came to, without the ids of its entries. */
function outcome(view) {
  const { state, result } = view;
  return {
    phase: state.phase, outcome: state.outcome, openings: state.openings, drips: state.drips, added_ml: state.added_ml, caught_ml: state.caught_ml,
    irregular: state.irregular, result,
  };
}

/** Where a and b differ in more than rounding, or "". */
function difference(a, b, at = '') {
  if (typeof a === 'number' && typeof b === 'number') return Math.abs(a - b) <= 1e-9 * Math.max(1, Math.abs(a)) ? '' : `${at}: ${a} and ${b}`;
  if (a === null || b === null || typeof a !== 'object' || typeof b !== 'object') return a === b ? '' : `${at}: ${JSON.stringify(a)} and ${JSON.stringify(b)}`;
  for (const key of new Set([...Object.keys(a), ...Object.keys(b)])) {
    const found = difference(a[key], b[key], `${at}.${key}`);
    if (found !== '') return found;
  }
  return '';
}

/** The facts of where a check stands; what a forecast says depends on the moment and is left out. */
const standing = ({ state: s }) => [s.phase, s.place, s.engine, s.plug_out, s.exercising, s.exercise_at, s.exercised, s.openings, s.watching, s.drips, s.seen, s.added_ml, s.caught_ml, s.fit_final, s.outcome];

test('a reload after any entry of a full check changes nothing of its result', { timeout: 600_000 }, async (t) => {
  const server = await serve(t);
  const context = await open(t, await profile(t));
  const page = await firstPage(context);
  await signedIn(page, server);
  const [vehicle] = await sidePlugVehicles(page);
  await page.addInitScript(steppedClocks, STARTED_MS);
  await page.goto(`${server.url}/?by-hand`);
  await page.waitForFunction(() => globalThis.brimlineTest !== undefined);
  const errors = errorsOf(page);
  const whole = await script(page);
  assert.ok(whole.length >= 40, `the check has ${whole.length} entries after the first`);

  const calm = outcome(await perform(page, await begin(page, vehicle), whole));
  assert.equal(calm.outcome, 'set');

  for (let k = 0; k <= whole.length; k++) {
    const id = await begin(page, vehicle);
    const standsBefore = await perform(page, id, whole.slice(0, k));
    const { before, after } = await reload(page, id);
    assert.deepEqual(standing(before), standing(standsBefore), `right after the reload following entry ${k + 1}`);
    assert.deepEqual(standing(after), standing(standsBefore), `once the screen is back after entry ${k + 1}`);
    const end = outcome(await perform(page, id, whole.slice(k)));
    await page.evaluate((check) => globalThis.brimlineTest.verify(check), id);
    assert.equal(difference(calm, end), '', `reloaded after entry ${k + 1} of ${whole.length + 1} (${k === 0 ? 'check.started' : whole[k - 1].kind})`);
  }
  assert.deepEqual(errors, []);
});

/**
 * The main job, end to end: a whole check with no network and no server, through a
 * reload and a browser that was killed, then sent, then seen by the manager.
 */
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { DESK, errorsOf, firstPage, kill, open, profile } from './browser.mjs';
import {
  MANAGER, MECHANIC, amount, button, fillGoSheet, lookedAround, move, openCheck, read, see, sidePlugVehicles, signedIn, signIn, stored,
} from './person.mjs';
import { serve } from './server.mjs';
import { beginning, format, words } from './words.mjs';

/** The gearbox: 18 °C when the engine starts, then 1.4 °C more each minute. */
const COLD_C = 18;
const AIR_C = 17;
const WARMING_C_PER_MIN = 1.4;

/** A phone with its clock in our hands, and a gearbox that warms by that clock. */
class Phone {
  constructor(page) {
    this.page = page;
  }

  now() {
    return this.page.evaluate(() => Date.now());
  }

  /** Lets simulated time pass. */
  async wait(seconds) {
    await this.page.clock.fastForward(seconds * 1000);
  }

  async engineStarts() {
    await button(this.page, words.code.act['engine.started']).click();
    await this.page.getByText(`${words.check.engine} ${words.check.engineOn}`, { exact: true }).waitFor();
    this.engineMS = await this.now();
  }

  async temperature() {
    return COLD_C + (WARMING_C_PER_MIN * ((await this.now()) - this.engineMS)) / 60_000;
  }

  async read() {
    await read(this.page, await this.temperature());
  }

  /** Waits and reads each minute until the fluid is so warm. */
  async warmTo(tempC) {
    while ((await this.temperature()) < tempC) {
      await this.wait(60);
      await this.read();
    }
  }
}

/** All positions, each held for its dwell. */
async function exercise(phone) {
  const { page } = phone;
  await button(page, words.code.act['exercise.started']).click();
  await button(page.getByRole('dialog'), words.check.exerciseClear).click();
  for (const position of ['P', 'R', 'N', 'D', 'N', 'P']) {
    await button(page, words.check.nextPosition(position)).click();
    await page.getByText(words.check.holdLeft).waitFor();
    await phone.wait(6);
    await page.getByText(words.check.holdOver).waitFor();
  }
  await button(page, words.check.exerciseEnd).click();
  await page.getByText(words.check.holdOver).waitFor({ state: 'detached' });
}

/** Counts drips for twelve seconds at what warming alone explains. */
async function countDrips(phone) {
  const { page } = phone;
  await button(page, words.code.act['watch.started']).first().click();
  const zone = button(page, beginning(words.check.dripTap));
  for (let n = 1; n <= 48; n++) {
    await phone.wait(0.2);
    await zone.click();
  }
  await zone.locator('.count').filter({ hasText: '48' }).waitFor();
  await button(page, words.check.dripEnd).click();
}

/** As found, first lot, exercise: what is done before the phone dies. */
async function firstOpening(phone) {
  const { page } = phone;
  await move(page, 'under');
  await phone.wait(15);
  await button(page, words.code.act['plug.opened']).click();
  await phone.wait(10);
  await see(page, 'nothing');
  await phone.wait(30);
  await amount(page, 'in', 250, 'ml');
  await see(page, 'drops');
  await phone.wait(10);
  await button(page, words.code.act['plug.closed']).click();
  await phone.wait(15);
  await move(page, 'seat');
  await phone.read();
}

/** The second look to the end. */
async function secondOpening(phone) {
  const { page } = phone;
  await phone.wait(10);
  await move(page, 'under');
  await phone.read();
  await button(page, words.code.act['plug.opened']).click();
  await phone.wait(10);
  await see(page, 'nothing');
  await amount(page, 'in', 120, 'g');
  await see(page, 'thread');
  await phone.wait(30);
  await countDrips(phone);
  await see(page, 'drops');
  const fit = button(page, words.check.fitKeep);
  for (let minutes = 0; minutes < 8 && (await fit.count()) === 0; minutes++) {
    await phone.wait(60); // fitted near the middle of the window, as the screen asks
    await phone.read();
  }
  await fit.click();
  const dialog = page.getByRole('dialog');
  await dialog.getByText(words.check.sealNew, { exact: true }).click();
  await button(dialog, beginning(words.check.fitTorque)).click();
  await button(dialog, words.check.fitKeep).click();
  await phone.wait(40);
  await amount(page, 'out', 31, 'g');
  await move(page, 'seat');
  await phone.read();
  await button(page, words.code.act['engine.stopped']).click();
  await page.getByText(`${words.check.engine} ${words.check.engineOff}`, { exact: true }).waitFor();
  await move(page, 'beside');
  await button(page, words.code.act['check.finished']).click();
  await button(page.getByRole('dialog'), words.check.finishSet).click();
}

/** The check as the server's own program computes it from the phone's stored log. */
async function recompute(page, server, checkID) {
  const { events, checks } = await stored(page, 'events', 'checks');
  const entry = checks.find((c) => c.id === checkID);
  const log = events.filter((e) => e.check_id === checkID).sort((a, b) => a.n - b.n);
  const { profile: asRun, vehicle, unit, cautions } = entry.basis;
  const view = await server.compute('check-replay', { profile: asRun, vehicle, unit, cautions, events: log.map((e) => e.event) });
  return { view, log };
}

const about = (level) => words.result.about(format.signedVolume(level.level_ml, 'ml'), format.volume(2 * level.sd_ml, 'ml'));

/** Every figure of the result must stand on the page as it was computed. */
async function figuresStandOn(page, view) {
  const { level, in_ml, out_ml } = view.result;
  const text = (await page.locator('main').innerText()).replaceAll(/\s+/g, ' ');
  const wanted = {
    'as found': about(level.as_found),
    'as left': about(level.as_left),
    odds: words.result.chances(format.percent(level.probability.low), format.percent(level.probability.in), format.percent(level.probability.high)),
    in: format.volume(in_ml, 'ml'),
    out: format.volume(out_ml, 'ml'),
    reading: words.code.reading[level.reading],
    status: words.code.status[view.result.status],
  };
  for (const [name, figure] of Object.entries(wanted)) {
    assert.ok(text.includes(figure.replaceAll(/\s+/g, ' ')), `${name}: "${figure}" is not on the page:\n${text}`);
  }
}

test('a whole check without network or server, killed in the middle, then sent and seen', { timeout: 240_000 }, async (t) => {
  const server = await serve(t);
  const folder = await profile(t);
  let context = await open(t, folder);
  let page = await firstPage(context);
  await signedIn(page, server);
  const [vehicle] = await sidePlugVehicles(page);
  assert.ok(vehicle, 'the demo has a vehicle with a side-plug profile');
  await context.close();
  await server.kill();

  // In the driveway: the app is opened anew, with no network and no server.
  context = await open(t, folder);
  page = await firstPage(context);
  await page.clock.install({ time: Date.now() });
  await context.setOffline(true);
  await page.goto(`${server.url}/`);
  let phone = new Phone(page);
  const errors = errorsOf(page);
  const checkID = await openCheck(phone.page, vehicle);
  await fillGoSheet(phone.page, { gearboxC: COLD_C, airC: AIR_C });
  await button(phone.page, words.go.start).click();
  await phone.wait(20);
  await move(phone.page, 'seat');
  await phone.engineStarts();
  await phone.warmTo(27);

  await t.test('a reload brings the check back where it was', async () => {
    await phone.page.reload();
    await lookedAround(phone.page, /0:0\d/);
    await phone.page.getByText(`${words.check.engine} ${words.check.engineOn}`, { exact: true }).waitFor();
  });

  await phone.warmTo(31.5);
  await firstOpening(phone);
  await exercise(phone);
  const { engineMS } = phone;
  const diedMS = await phone.now();

  await t.test('a killed browser brings it back too, and the gap is said', async () => {
    const before = await stored(phone.page, 'events');
    await kill(context);
    context = await open(t, folder);
    phone = new Phone(await firstPage(context));
    phone.engineMS = engineMS;
    await phone.page.clock.install({ time: diedMS + 47_000 });
    await context.setOffline(true);
    await phone.page.goto(`${server.url}/`);
    await button(phone.page, beginning(words.today.goOn)).or(phone.page.locator(`a.running[href="/check/${checkID}"]`)).first().click();
    await lookedAround(phone.page, /0:(4[7-9]|5\d)/); // 47 s, and what opening took
    const after = await stored(phone.page, 'events');
    const kept = after.events.slice(0, before.events.length);
    assert.deepEqual(kept, before.events, 'every entry from before is there, unchanged');
  });
  const lateErrors = errorsOf(phone.page);

  await secondOpening(phone);
  await phone.page.getByText(words.result.chancesTitle).waitFor();
  const { view, log } = await recompute(phone.page, server, checkID);

  await t.test('the numbers on the result are those of check-replay', async () => {
    assert.equal(view.state.phase, 'done');
    assert.equal(view.state.outcome, 'set');
    assert.ok(view.state.clock_gap?.restarted, 'the log knows of the gap');
    await figuresStandOn(phone.page, view);
    await button(phone.page, words.result.verify).click();
    await phone.page.getByText(words.result.verified).waitFor();
  });

  const { outbox } = await stored(phone.page, 'outbox');
  assert.ok(outbox.length >= log.length, `${outbox.length} changes wait for ${log.length} entries`);

  await t.test('with the network back everything is sent', async () => {
    await server.start();
    await context.setOffline(false);
    await phone.page.goto(`${server.url}/device`);
    await button(phone.page, words.device.send).click();
    for (let tries = 0; tries < 60 && (await stored(phone.page, 'outbox')).outbox.length > 0; tries++) {
      await phone.wait(5);
      await new Promise((done) => setTimeout(done, 250));
    }
    await phone.page.getByText(words.device.waitingNone).waitFor();
    await phone.page.getByRole('link', { name: new RegExp(words.statusLine.allSent) }).waitFor();
  });

  await t.test('the manager sees the same numbers at a desk', async (t) => {
    const desk = await open(t, await profile(t), { viewport: DESK });
    const page = await firstPage(desk);
    await signIn(page, server, MANAGER);
    await page.getByRole('link', { name: words.nav.fleet }).click();
    const row = page.getByRole('row').filter({ has: page.locator(`a[href="/fleet/check/${checkID}"]`) });
    await row.waitFor();
    const text = (await row.innerText()).replaceAll(/\s+/g, ' ');
    for (const level of [view.result.level.as_found, view.result.level.as_left]) {
      assert.ok(text.includes(about(level).replaceAll(/\s+/g, ' ')), `"${about(level)}" is not in "${text}"`);
    }
    await row.getByRole('link').click();
    await page.getByText(words.fleet.agrees).waitFor();
    const whole = (await page.locator('main').innerText()).replaceAll(/\s+/g, ' ');
    for (const figure of [about(view.result.level.as_left), format.volume(view.state.added_ml, 'ml'), format.volume(view.state.caught_ml, 'ml')]) {
      assert.ok(whole.includes(figure.replaceAll(/\s+/g, ' ')), `"${figure}" is not on the page`);
    }
    // Every entry stands in the table; drips stand together until they are shown one by one.
    const entries = page.getByRole('region', { name: words.fleet.events });
    const together = entries.getByRole('button', { name: words.fleet.unfold, exact: true });
    let headings = 0;
    for (; (await together.count()) > 0; headings++) await together.first().click();
    assert.equal(await entries.locator('tbody tr').count(), log.length + headings);
  });

  await t.test('the same outbox again changes nothing', () => pushAgain(server, outbox, checkID));
  assert.deepEqual([...errors, ...lateErrors], []);
});

/** Sends changes that the server has; each must be a duplicate, and what it holds the same as before. */
async function pushAgain(server, outbox, checkID) {
  const device = outbox[0].body.device_id ?? crypto.randomUUID();
  const session = await server.ask('POST', '/api/v1/session', { body: { ...MECHANIC, device_id: device, device_name: 'again' } });
  assert.equal(session.status, 200, session.text);
  const token = session.body.access_token;
  const held = async () => {
    const check = await server.ask('GET', `/api/v1/checks/${checkID}`, { token });
    const pulled = await server.ask('GET', '/api/v1/sync/pull?limit=1000', { token });
    assert.equal(check.status, 200, check.text);
    return { check: check.body, next: pulled.body.next, items: pulled.body.items };
  };
  const before = await held();
  const changes = outbox.sort((a, b) => a.dseq - b.dseq).map(({ id, dseq, kind, v, body }) => ({ id, dseq, kind, v, body }));
  for (let from = 0; from < changes.length; from += 100) {
    const push = { proto: 1, app: 'test', device, epoch: '', cursor: '', sent_wall_ms: Date.now(), changes: changes.slice(from, from + 100) };
    const answer = await server.ask('POST', '/api/v1/sync/push', { token, body: push });
    assert.equal(answer.status, 200, answer.text);
    assert.deepEqual([...new Set(answer.body.results.map((r) => r.status))], ['duplicate']);
  }
  assert.deepEqual(await held(), before);
}

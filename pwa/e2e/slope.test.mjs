/** The phone as a level: two positions, permission refused, no sensor, too steep, not turned. */
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { errorsOf, firstPage, open, profile } from './browser.mjs';
import { button, openCheck, sidePlugVehicles, signedIn, stored } from './person.mjs';
import { serve } from './server.mjs';
import { format, words } from './words.mjs';

/** A phone on a slope: its sensor reads the slope plus its own error, and trembles by one step. */
async function lay(t, page, { pitch, roll, turn, error = { pitch: 0, roll: 0 } }) {
  page.sensor ??= await page.context().newCDPSession(page);
  clearInterval(page.trembling);
  const sign = Math.cos((turn * Math.PI) / 180);
  let k = 0;
  const set = () => page.sensor.send('DeviceOrientation.setDeviceOrientationOverride', {
    alpha: turn,
    beta: sign * pitch + error.pitch + (k % 2 === 0 ? 0.1 : -0.1),
    gamma: -(sign * roll + error.roll) + (k++ % 2 === 0 ? 0.1 : -0.1),
  }).catch(() => undefined);
  await set();
  page.trembling = setInterval(set, 60);
  t.after(() => clearInterval(page.trembling));
}

/** A go sheet with the sensor permission granted or denied. */
async function goSheet(t, setting, { pick = 0 } = {}) {
  const server = await serve(t);
  const context = await open(t, await profile(t));
  const page = await firstPage(context);
  const errors = errorsOf(page);
  t.after(() => assert.deepEqual(errors, []));
  const browser = await context.browser().newBrowserCDPSession();
  for (const name of ['accelerometer', 'gyroscope']) await browser.send('Browser.setPermission', { permission: { name }, setting, origin: server.url });
  await signedIn(page, server);
  const vehicles = await sidePlugVehicles(page);
  const check = await openCheck(page, vehicles[pick]);
  return { page, check, slope: page.getByRole('region', { name: words.code.goItem.attitude }) };
}

async function take(slope, label) {
  await button(slope, words.go.slopeTake).click();
  await slope.getByRole('listitem').filter({ hasText: label }).getByText(words.go.slopeTaken('|', '|').split('|')[0]).waitFor();
}

async function measured(page, check) {
  const { events } = await stored(page, 'events');
  return events.map((row) => row.event ?? row).filter((e) => e.check_id === check && e.kind === 'attitude.measured').map((e) => e.body);
}

const error = { pitch: 0.3, roll: -0.2 };

test('two positions give the slope and the phone’s own error', { timeout: 120_000 }, async (t) => {
  const { page, check, slope } = await goSheet(t, 'granted');
  await lay(t, page, { pitch: 0.2, roll: -0.3, turn: 10, error });
  await button(slope, words.go.slopeUse).click();
  await slope.getByText(words.go.slopeStill).waitFor();
  await take(slope, words.go.slopeFirst);
  await slope.getByText(words.go.slopeTurn).waitFor();
  await lay(t, page, { pitch: 0.2, roll: -0.3, turn: 190, error });
  await page.waitForTimeout(2200);
  await take(slope, words.go.slopeTurned);

  await slope.getByText(words.go.slopeNow(format.angle(0.2), format.angle(-0.3)), { exact: true }).waitFor();
  await slope.getByText(words.go.slopeOffset(format.angle(0.3), format.angle(-0.2))).waitFor();
  await slope.getByText(/the gearbox would be left [+\u2212]?\d+\u00a0mL ± \d+\u00a0mL/).waitFor();
  await slope.getByText(words.code.attitude['level enough']).waitFor();
  assert.equal(await slope.getByText(/compass/).count(), 0, 'half a turn needs no word');

  await button(slope, words.go.slopeKeep).click();
  await button(slope, words.go.again).waitFor();
  const [body] = await measured(page, check);
  assert.equal(body.method, 'reversal');
  assert.ok(Math.abs(body.pitch_deg - 0.2) < 0.03 && Math.abs(body.roll_deg + 0.3) < 0.03, JSON.stringify(body));
  assert.ok(body.sd_deg >= 0.05 && body.sd_deg <= 0.12, `the spread is ${body.sd_deg}`);
  assert.ok(Math.abs(body.first.pitch_deg - 0.5) < 0.05 && Math.abs(body.turned.pitch_deg - 0.1) < 0.05, JSON.stringify(body));
});

test('a phone that was not turned is told so, and too steep a place is declined without a word of stands as an answer', { timeout: 120_000 }, async (t) => {
  const { page, slope } = await goSheet(t, 'granted');
  await lay(t, page, { pitch: 4.2, roll: 0, turn: 10 });
  await button(slope, words.go.slopeUse).click();
  await take(slope, words.go.slopeFirst);
  await take(slope, words.go.slopeTurned);
  await slope.getByText(words.go.slopeNotTurned(`0°`)).waitFor();
  await button(slope, words.go.slopeAgain).click();
  await take(slope, words.go.slopeFirst);
  await lay(t, page, { pitch: 4.2, roll: 0, turn: 190 });
  await page.waitForTimeout(2200);
  await take(slope, words.go.slopeTurned);
  await slope.getByText(words.code.attitude.decline).waitFor();
  await slope.getByText(words.code.highEnd.front, { exact: false }).first().waitFor();
  await button(slope, words.go.slopeKeep).click();
  await slope.getByText(words.code.refusal['attitude.decline']).waitFor();
  for (const advice of Object.values(words.code.attitude)) assert.doesNotMatch(advice, /stand/i);
});

test('a phone in the hand gives no reading', { timeout: 120_000 }, async (t) => {
  const { page, slope } = await goSheet(t, 'granted');
  await lay(t, page, { pitch: 0.2, roll: 0, turn: 10 });
  await button(slope, words.go.slopeUse).click();
  await slope.getByText(words.go.slopeStill).waitFor();
  const swing = setInterval(() => void lay(t, page, { pitch: 3 * Math.random(), roll: 0, turn: 10 }), 150);
  t.after(() => clearInterval(swing));
  await button(slope, words.go.slopeTake).click();
  await slope.getByText(words.go.slopeRestless).waitFor();
  clearInterval(swing);
  assert.ok(await button(slope, words.go.slopeKeep).isDisabled());
});

test('where the sensor is refused, two figures are typed', { timeout: 120_000 }, async (t) => {
  const { page, check, slope } = await goSheet(t, 'denied');
  await button(slope, words.go.slopeUse).click();
  await slope.getByText(new RegExp(`${words.go.slopeDenied.slice(0, 30)}|${words.go.slopeNoSensor.slice(0, 30)}`)).waitFor();
  await slope.getByText(words.go.slopeTyped, { exact: true }).click();
  await slope.getByLabel(words.go.pitch).fill('0,3');
  await slope.getByLabel(words.go.roll).fill('-0.1');
  await slope.getByText(words.code.attitude['level enough']).waitFor();
  await button(slope, words.go.slopeKeep).click();
  await button(slope, words.go.again).waitFor();
  const [body] = await measured(page, check);
  assert.deepEqual([body.method, body.pitch_deg, body.roll_deg], ['typed', 0.3, -0.1]);
});

test('without a sensor the two positions are typed too', { timeout: 120_000 }, async (t) => {
  const { page, check, slope } = await goSheet(t, 'granted');
  await button(slope, words.go.slopeUse).click();
  await slope.getByText(words.go.slopeNoSensor).waitFor();
  for (const [k, [pitch, roll]] of [['0.7', '0.1'], ['-0.1', '0.3']].entries()) {
    await slope.getByLabel(words.go.pitch).nth(k).fill(pitch);
    await slope.getByLabel(words.go.roll).nth(k).fill(roll);
  }
  await slope.getByText(words.go.slopeNow(format.angle(0.4), format.angle(-0.1)), { exact: true }).waitFor();
  await button(slope, words.go.slopeKeep).click();
  await button(slope, words.go.again).waitFor();
  const [body] = await measured(page, check);
  assert.deepEqual([body.method, body.pitch_deg, body.roll_deg, body.turned.roll_deg], ['reversal', 0.4, -0.1, 0.3]);
});

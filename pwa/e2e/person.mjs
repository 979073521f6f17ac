/**
 * What a person does with the app, by the names that stand on the screen. Nothing
 * here reaches behind the screen except `stored`, which reads the phone's database.
 */
import assert from 'node:assert/strict';
import { beginning, format, words } from './words.mjs';

/** Sign-ins of the demo workshop, made up. */
export const MECHANIC = { email: 'mave@orrin-tessaly.example', password: 'count-drops-36' };
export const MANAGER = { email: 'pell@orrin-tessaly.example', password: 'plug-first-24' };

/** The gearbox pattern with a side plug, as its profile is named in the demo. */
export const SIDE_PLUG = '01900000-0000-7000-8000-0000000000a1';

export const button = (page, name, options = {}) => page.getByRole('button', { name, exact: typeof name === 'string', ...options });

export async function signIn(page, server, who = MECHANIC) {
  await page.goto(`${server.url}/`);
  await page.getByLabel(words.signIn.email).fill(who.email);
  await page.getByLabel(words.signIn.password).fill(who.password);
  await button(page, words.signIn.act).click();
  await page.getByRole('heading', { name: words.today.title, level: 1 }).waitFor();
}

/** Signs in and waits until the phone holds the app and the workshop's records. */
export async function signedIn(page, server, who = MECHANIC) {
  await signIn(page, server, who);
  await page.getByText(words.today.offlineReady).waitFor();
  await page.getByRole('link', { name: words.nav.device, exact: true }).click();
  await page.getByText(beginning(words.device.lastOk('|').split('|')[0])).waitFor();
  await page.getByRole('link', { name: words.nav.today, exact: true }).click();
  await page.locator('a[href^="/vehicle/"]').first().waitFor();
}

/** Chooses one answer in a group of large buttons. */
export async function choose(scope, legend, answer) {
  await scope.getByRole('group', { name: beginning(legend) }).getByText(answer, { exact: true }).click();
}

/** Everything in some of the phone's stores. */
export function stored(page, ...names) {
  return page.evaluate(async (names) => {
    const db = await new Promise((done, failed) => {
      const opening = indexedDB.open('brimline');
      opening.onsuccess = () => done(opening.result);
      opening.onerror = () => failed(opening.error);
    });
    const tx = db.transaction(names, 'readonly');
    const all = await Promise.all(names.map((name) => new Promise((done, failed) => {
      const asked = tx.objectStore(name).getAll();
      asked.onsuccess = () => done(asked.result);
      asked.onerror = () => failed(asked.error);
    })));
    db.close();
    return Object.fromEntries(names.map((name, k) => [name, all[k]]));
  }, names);
}

/** Vehicles with a proven side-plug profile and no check in progress, as this phone holds them. */
export async function sidePlugVehicles(page) {
  const { records, checks } = await stored(page, 'records', 'checks');
  const units = new Set(records.filter((r) => r.kind === 'unit' && r.body.profile_id === SIDE_PLUG).map((r) => r.body.id));
  const busy = new Set(checks.filter((c) => c.summary.phase !== 'done').map((c) => c.summary.vehicle_id));
  return records.filter((r) => r.kind === 'vehicle' && units.has(r.body.unit_id) && !r.body.hybrid && !busy.has(r.body.id)).map((r) => r.body);
}

/** From Today to the go sheet of a new check; returns the check's id. */
export async function openCheck(page, vehicle) {
  await page.getByLabel(words.today.search).fill(vehicle.label);
  await page.locator(`main a[href="/vehicle/${vehicle.id}"]`).last().click();
  await button(page, words.vehicle.start).click();
  await choose(page, words.vehicle.reason, words.code.reason.level_check);
  await choose(page, words.vehicle.circuit, words.code.circuit.untouched);
  await choose(page, words.vehicle.cycle, words.vehicle.cycleFirst);
  await choose(page, words.vehicle.raised, words.no);
  await choose(page, words.vehicle.indoors, words.no);
  if (await page.getByRole('group', { name: beginning(words.vehicle.warmerAsk) }).count() > 0) {
    await choose(page, words.vehicle.warmerAsk, words.code.warmer.no);
  }
  await button(page, words.vehicle.open).click();
  await page.getByRole('heading', { name: words.go.title, level: 1 }).waitFor();
  return new URL(page.url()).pathname.split('/').pop();
}

/** Fills the go sheet for a cold vehicle on nearly level ground, up to the decision. */
export async function fillGoSheet(page, { gearboxC, airC }) {
  const cautions = button(page, beginning(words.go.cautionRead));
  for (let left = await cautions.count(); left > 0; left = await cautions.count()) {
    await cautions.first().click();
    await page.waitForFunction(([name, n]) => [...document.querySelectorAll('button')].filter((b) => b.textContent?.startsWith(name)).length < n, [words.go.cautionRead, left]);
  }
  await page.getByText(words.go.slopeTyped, { exact: true }).click();
  await page.getByLabel(words.go.pitch).fill('0.4');
  await page.getByLabel(words.go.roll).fill('-0.2');
  await button(page, words.go.slopeKeep).click();
  const cold = page.getByRole('region', { name: words.code.goItem.cold });
  for (const [name, value] of [[words.go.gearbox, gearboxC], [words.go.coolant, gearboxC], [words.go.air, airC]]) {
    await cold.getByRole('textbox', { name: beginning(name) }).fill(String(value));
  }
  await choose(cold, words.go.coldSource, words.code.source.reader);
  await button(page, words.go.coldKeep).click();
  await button(page, words.go.cracked).click();
  await button(page, words.go.kit).click();
  await page.getByText(words.go.allGo).waitFor();
}

/** Two taps from the last value; the keypad where the reader has moved too far. */
export async function read(page, valueC) {
  const whole = Math.round(valueC);
  const entry = page.getByRole('region', { name: words.check.take });
  const picked = button(entry, beginning(format.degreesOf(whole, 'C')));
  if (await picked.count() > 0) {
    await picked.click();
    await button(page, words.check.keepReading(format.degreesOf(whole, 'C'))).click();
  } else {
    await button(entry, words.check.type).click();
    await type(page, String(whole));
    await button(page, words.check.keepReading(format.degreesOf(whole, 'C'))).click();
  }
  await page.getByText(words.check.lastRead(format.degreesOf(whole, 'C'), '').slice(0, -5)).first().waitFor();
}

/** Presses the keys of the keypad that is open. */
export async function type(page, text) {
  for (const key of text) await button(page.getByRole('dialog'), key).click();
}

/** Goes to a place; under the vehicle there is a gate to answer. */
export async function move(page, to) {
  const name = words.check.moveTo[to];
  await button(page, name).first().click();
  if (to === 'under') await button(page.getByRole('dialog'), name).click();
  await page.getByRole('dialog').waitFor({ state: 'detached' });
}

export async function see(page, seen) {
  await button(page, words.code.act['flow.seen']).click();
  await button(page.getByRole('dialog'), beginning(words.code.seen[seen])).click();
  await page.getByText(words.check.seenNow(words.code.seen[seen])).first().waitFor();
}

/** Fluid in or out by the keypad, in mL or g. */
export async function amount(page, direction, value, unit) {
  const dialog = page.getByRole('dialog');
  await button(page, words.code.act[direction === 'in' ? 'fluid.added' : 'fluid.caught']).click();
  const unitText = unit === 'g' ? words.check.grams : words.check.millilitres;
  await dialog.getByText(unitText, { exact: true }).first().click();
  await type(page, String(value));
  const shown = `${format.number(value)}\u00a0${unitText}`;
  await button(dialog, direction === 'in' ? words.check.keepIn(shown) : words.check.keepOut(shown)).click();
  await dialog.waitFor({ state: 'detached' });
}

/** Answers the message that the app was closed for a time that matches `span`. */
export async function lookedAround(page, span) {
  const message = page.getByRole('alert').filter({ hasText: words.check.gapThen }).filter({ hasText: span });
  await message.waitFor();
  const text = await message.innerText();
  assert.ok(text.startsWith(words.check.gapClosed('|').split('|')[0]), `the message is "${text}"`);
  await button(message, words.check.gapSeen).click();
  await message.waitFor({ state: 'detached' });
}

/**
 * Every screen, light and dark, from the smallest phone to a desk: nothing wider than the
 * screen, no text cut off, no rule of accessibility broken. In the language that
 * LOOK_LANGUAGE names, else English; the tests of the other languages are beside this one.
 * Pictures go to the folder that LOOK names, for people to look at.
 */
import assert from 'node:assert/strict';
import { mkdir, readFile } from 'node:fs/promises';
import { createRequire } from 'node:module';
import { join } from 'node:path';
import { test } from 'node:test';
import { DESK, PHONE, errorsOf, firstPage, open, profile } from './browser.mjs';
import { checkUpTo, openByHand } from './byhand.mjs';
import { MANAGER, button, sidePlugVehicles, signIn, signedIn, stored } from './person.mjs';
import { serve } from './server.mjs';
import { beginning, language, words } from './words.mjs';

const axe = await readFile(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
const folder = process.env.LOOK;

/** Waits until what the screen loads has come and nothing moves. */
async function settled(page) {
  await page.waitForFunction((wait) => !document.querySelector('main')?.textContent?.includes(wait), words.wait);
  await page.evaluate(() => document.fonts.ready);
  await page.waitForTimeout(150);
}

/** Elements whose own text is cut off, and the page itself where it is wider than the screen. */
function cutOff() {
  const found = [];
  // A word in a line has no box of its own: its letters are measured against the block that holds it.
  const outOfBlock = (element) => {
    let block = element;
    while (getComputedStyle(block).display === 'inline' && block.parentElement !== null) block = block.parentElement;
    const { right } = block.getBoundingClientRect();
    const letters = document.createRange();
    return [...element.childNodes].some((node) => {
      if (node.nodeType !== Node.TEXT_NODE || node.textContent.trim() === '') return false;
      letters.selectNodeContents(node);
      return [...letters.getClientRects()].some((rect) => rect.width > 0 && rect.right > right + 2);
    });
  };
  const { scrollWidth, clientWidth } = document.documentElement;
  if (scrollWidth > clientWidth) found.push(`the page is ${scrollWidth - clientWidth} px too wide`);
  for (const element of document.querySelectorAll('body *')) {
    const style = getComputedStyle(element);
    const ownText = [...element.childNodes].some((node) => node.nodeType === Node.TEXT_NODE && node.textContent.trim() !== '');
    if (!ownText || style.visibility === 'hidden' || element.closest('.heard, [hidden], svg') !== null) continue;
    const box = element.getBoundingClientRect();
    if (box.width <= 1 || box.height <= 1 || style.clipPath !== 'none') continue;
    if (outOfBlock(element)) found.push(`"${element.textContent.trim().slice(0, 40)}" runs out of what holds it`);
    const name = `${element.tagName.toLowerCase()} "${element.textContent.trim().slice(0, 40)}"`;
    if (style.overflowX !== 'visible' && style.overflowX !== 'auto' && element.scrollWidth > element.clientWidth + 1) found.push(`${name} is cut off`);
    if (style.overflowX === 'visible' && element.clientWidth > 0 && element.scrollWidth > element.clientWidth + 1) found.push(`${name} runs out of its box`);
    const scrolls = element.closest('.scroll') !== null;
    if (!scrolls && (box.right > innerWidth + 1 || box.left < -1) && style.position !== 'fixed' && !element.classList.contains('skip')) found.push(`${name} reaches beyond the screen`);
  }
  return found;
}

async function violations(page) {
  // By the debugger, not as a script of the page: its own policy lets none in from outside.
  await page.evaluate(axe);
  return page.evaluate(async () => {
    const { violations } = await globalThis.axe.run(document, { resultTypes: ['violations'] });
    return violations.map((v) => `${v.id}: ${v.nodes.slice(0, 3).map((n) => n.target.join(' ')).join(' | ')}${v.nodes.length > 3 ? ` and ${v.nodes.length - 3} more` : ''}`);
  });
}

/** The ways a screen is looked at. The rules of accessibility do not depend on the width alone: two widths in English, one elsewhere. */
const ways = [
  { size: 'phone', viewport: PHONE, schemes: ['light', 'dark'], rules: true },
  { size: 'desk', viewport: DESK, schemes: ['light', 'dark'], rules: language === 'en' },
  { size: 'small', viewport: { width: 320, height: 640 }, schemes: ['light'], rules: false },
  { size: 'landscape', viewport: { width: 844, height: 390 }, schemes: ['light'], rules: false },
];

/** One screen in all ways; every complaint at once. */
async function look(page, name, complaints) {
  for (const { size, viewport, schemes, rules } of ways) {
    await page.setViewportSize(viewport);
    for (const colorScheme of folder === undefined ? schemes : ['light', 'dark']) {
      await page.emulateMedia({ colorScheme });
      await settled(page);
      const where = `${name}-${language}-${size}-${colorScheme}`;
      if (folder !== undefined) {
        await page.screenshot({ path: join(folder, `${where}.png`) });
        if (process.env.LOOK_WHOLE !== undefined) await page.screenshot({ path: join(folder, `${where}-whole.png`), fullPage: true });
      }
      if (colorScheme === 'light') complaints.push(...(await page.evaluate(cutOff)).map((c) => `${where}: ${c}`));
      if (rules) complaints.push(...(await violations(page)).map((c) => `${where}: ${c}`));
    }
  }
  await page.setViewportSize(PHONE);
}

/** A button's panel, looked at and closed again. */
async function lookAtPanel(page, opener, name, complaints) {
  if ((await opener.count()) === 0) return complaints.push(`${name}: there is no button that opens it`);
  await opener.first().click();
  await page.getByRole('dialog').waitFor();
  await look(page, name, complaints);
  await button(page.getByRole('dialog'), words.cancel).click();
  return page.getByRole('dialog').waitFor({ state: 'detached' });
}

async function go(page, server, path) {
  await page.goto(`${server.url}${path}`);
  await settled(page);
}

/** A check brought to some act, and its screen. */
async function checkAt(page, server, vehicle, kind) {
  await openByHand(page, server);
  const id = await checkUpTo(page, vehicle, kind);
  await go(page, server, `/check/${id}`);
  return id;
}

test(`every screen, light and dark, four sizes: ${words.language}`, { timeout: 600_000 }, async (t) => {
  if (folder !== undefined) await mkdir(folder, { recursive: true });
  const server = await serve(t);
  const page = await firstPage(await open(t, await profile(t), { deviceScaleFactor: 2 }));
  const errors = errorsOf(page);
  const complaints = [];

  await go(page, server, '/');
  await look(page, 'sign-in', complaints);
  await signedIn(page, server);
  await look(page, 'today', complaints);
  const vehicles = await sidePlugVehicles(page);
  assert.ok(vehicles.length >= 3, 'the demo has three vehicles for checks');
  await go(page, server, `/vehicle/${vehicles[0].id}`);
  await look(page, 'vehicle', complaints);
  await button(page, words.vehicle.start).click();
  await look(page, 'vehicle-start', complaints);

  await checkAt(page, server, vehicles[0], 'attitude.measured');
  await look(page, 'go-sheet', complaints);
  await go(page, server, '/');
  await look(page, 'today-running', complaints);

  await checkAt(page, server, vehicles[1], 'reading.taken');
  await look(page, 'check-warming', complaints);
  await button(page, words.check.gapSeen).click().catch(() => complaints.push('check: no message about the reload'));
  await look(page, 'check', complaints);
  await lookAtPanel(page, button(page, words.check.type), 'check-type', complaints);
  await lookAtPanel(page, button(page, words.check.stop), 'check-stop', complaints);
  await lookAtPanel(page, button(page, beginning(words.check.log)), 'check-log', complaints);

  await checkAt(page, server, vehicles[2], 'plug.opened');
  await look(page, 'check-open', complaints);
  await lookAtPanel(page, button(page, words.code.act['flow.seen']), 'check-seen', complaints);
  await lookAtPanel(page, button(page, words.code.act['fluid.added']), 'check-in', complaints);
  await lookAtPanel(page, button(page, words.check.fitTitle), 'check-fit', complaints);
  await button(page, words.code.act['watch.started']).first().click();
  await button(page, beginning(words.check.dripTap)).click();
  await look(page, 'check-drips', complaints);
  for (const status of ['final', 'provisional', 'not_done']) {
    const { checks } = await stored(page, 'checks');
    const shown = checks.filter((c) => c.summary.status === status).sort((a, b) => b.summary.started_ms - a.summary.started_ms)[0];
    assert.ok(shown, `the demo has a check that is ${status}`);
    await go(page, server, `/check/${shown.id}`);
    await look(page, `result-${status}`, complaints);
  }

  await go(page, server, '/device');
  await look(page, 'device', complaints);
  await go(page, server, '/gallery');
  await look(page, 'gallery', complaints);
  await go(page, server, '/gallery?show=slope');
  await look(page, 'gallery-slope', complaints);
  await go(page, server, '/no/such/place');
  await look(page, 'lost', complaints);

  await fleet(t, server, complaints);
  assert.equal(complaints.length, 0, `\n${complaints.join('\n')}\n`);
  assert.deepEqual(errors, []);
});

/** The manager's screens. */
async function fleet(t, server, complaints) {
  const page = await firstPage(await open(t, await profile(t), { viewport: DESK }));
  await signIn(page, server, MANAGER);
  await go(page, server, '/fleet');
  await page.getByRole('table').waitFor();
  await look(page, 'fleet', complaints);
  await page.getByRole('row').filter({ hasText: words.code.status.final }).getByRole('link').first().click();
  await page.getByRole('heading', { name: words.fleet.trace }).waitFor();
  await look(page, 'fleet-check', complaints);
}

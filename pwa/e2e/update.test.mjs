/** A new release is offered and never taken by itself; one that cannot be stored whole is not taken at all. */
import assert from 'node:assert/strict';
import { createHash } from 'node:crypto';
import { readFile, readdir } from 'node:fs/promises';
import { join } from 'node:path';
import { test } from 'node:test';
import { errorsOf, firstPage, open, profile } from './browser.mjs';
import { checkUpTo, openByHand } from './byhand.mjs';
import { button, sidePlugVehicles, signedIn, stored } from './person.mjs';
import { app, binaryWith, serve } from './server.mjs';
import { words } from './words.mjs';

const sha256 = (text) => createHash('sha256').update(text).digest('hex');

/** The files of a release that differs in its page, marked with `name`, and so in its list. */
async function release(name) {
  const [page, worker] = await Promise.all(['index.html', 'sw.js'].map((file) => readFile(join(app, file), 'utf8')));
  const other = page.replace('<html', `<html data-release="${name}"`);
  assert.notEqual(other, page);
  assert.ok(worker.includes(sha256(page)), 'the worker lists the page by its SHA-256');
  const otherWorker = worker.replaceAll(sha256(page), sha256(other)).replaceAll(shellOf(worker), sha256(other).slice(0, 12));
  const none = Object.fromEntries(['index.html', 'sw.js'].flatMap((file) => [[`${file}.br`, null], [`${file}.gz`, null]]));
  return { 'index.html': other, 'sw.js': otherWorker, ...none };
}

/** The name of the release, as the worker carries it. */
function shellOf(worker) {
  const names = worker.match(/(?<![0-9a-f])([0-9a-f]{12})(?![0-9a-f])/);
  assert.ok(names, 'the worker names its release');
  return names[1];
}

/** Another server on the same port and data. */
async function replaceServer(server, bin) {
  await server.kill();
  server.bin = bin;
  await server.start();
}

const releaseOf = (page) => page.evaluate(() => document.documentElement.dataset.release ?? 'first');
const shells = (page) => page.evaluate(async () => (await caches.keys()).filter((name) => name.startsWith('brimline-shell-')));
const waiting = (page) => page.waitForFunction(async () => (await navigator.serviceWorker.getRegistration())?.waiting != null);

async function today(page, server) {
  await page.goto(`${server.url}/`);
  await page.getByRole('heading', { name: words.today.title, level: 1 }).waitFor();
}

test('a new release waits for the person, and never comes inside a check', { timeout: 120_000 }, async (t) => {
  const server = await serve(t);
  const context = await open(t, await profile(t));
  const page = await firstPage(context);
  const errors = errorsOf(page);
  await signedIn(page, server);
  const [vehicle] = await sidePlugVehicles(page);
  await replaceServer(server, await binaryWith(t, await release('second')));

  await t.test('it is offered, and not taken by itself', async () => {
    await today(page, server);
    await waiting(page);
    await page.getByText(words.today.update).waitFor();
    for (let again = 0; again < 2; again++) {
      await page.reload();
      assert.equal(await releaseOf(page), 'first');
    }
    await button(page, words.today.updateAct).waitFor();
  });

  await context.setOffline(true);
  await openByHand(page, server);
  const id = await checkUpTo(page, vehicle, 'engine.started');

  await t.test('inside a check it is refused', async () => {
    await today(page, server);
    await page.getByText(words.today.updateLater).waitFor();
    assert.equal(await button(page, words.today.updateAct).count(), 0);
    await page.getByRole('link', { name: words.nav.device, exact: true }).click();
    await button(page, words.today.updateAct).click();
    await page.getByText(words.code.problem['update.check_running']).waitFor();
    await page.goto(`${server.url}/check/${id}`);
    await page.getByText(`${words.check.engine} ${words.check.engineOn}`, { exact: true }).waitFor();
    assert.equal(await releaseOf(page), 'first');
  });

  await t.test('on agreement it comes, without a network, and unsent entries stay', async () => {
    await openByHand(page, server);
    await page.evaluate(async (id) => {
      const app = globalThis.brimlineTest;
      await app.act(id, 'engine.stopped', { cause: 'mechanic' });
      await app.act(id, 'check.finished', { outcome: 'not_done', reason: 'customer' });
    }, id);
    const before = await stored(page, 'outbox', 'events');
    assert.ok(before.outbox.length > 0);
    await today(page, server);
    await button(page, words.today.updateAct).click();
    await page.waitForFunction(() => document.documentElement.dataset.release === 'second');
    await page.getByRole('heading', { name: words.today.title, level: 1 }).waitFor();
    const after = await stored(page, 'outbox', 'events');
    assert.deepEqual(after, before);
    assert.equal(await page.getByText(words.today.update, { exact: true }).count(), 0);
    await page.waitForFunction(async () => (await caches.keys()).filter((name) => name.startsWith('brimline-shell-')).length === 1);
    await context.setOffline(false);
    await page.getByRole('link', { name: new RegExp(words.statusLine.allSent) }).waitFor();
  });
  assert.deepEqual(errors, []);
});

test('a release with a missing file leaves the old one working without a network', { timeout: 120_000 }, async (t) => {
  const server = await serve(t);
  const context = await open(t, await profile(t));
  const page = await firstPage(context);
  await signedIn(page, server);
  const before = await shells(page);
  assert.equal(before.length, 1);

  const scripts = (await readdir(join(app, 'assets'))).filter((name) => /^Fleet.*\.js$/.test(name));
  const broken = await release('broken');
  // The list also names a file under another sum, so it must be fetched, and is not there.
  for (const name of scripts) {
    const content = await readFile(join(app, 'assets', name));
    broken['sw.js'] = broken['sw.js'].replaceAll(sha256(content), sha256(`other ${name}`));
    for (const ending of ['', '.br', '.gz']) broken[`assets/${name}${ending}`] = null;
  }
  await replaceServer(server, await binaryWith(t, broken));
  const install = await page.evaluate(async () => {
    const registration = await navigator.serviceWorker.getRegistration();
    const ended = new Promise((done) => registration.addEventListener('updatefound', () => {
      const worker = registration.installing;
      worker.addEventListener('statechange', () => ['redundant', 'installed'].includes(worker.state) && done(worker.state));
    }));
    await registration.update().catch(() => undefined);
    return ended;
  });
  assert.equal(install, 'redundant');
  assert.deepEqual(await shells(page), before, 'nothing is left of the half of a release');

  await server.kill();
  await context.setOffline(true);
  await page.reload();
  await page.getByRole('heading', { name: words.today.title, level: 1 }).waitFor();
  assert.equal(await releaseOf(page), 'first');
  assert.equal(await page.getByText(words.today.update).count(), 0);
  await page.getByRole('link', { name: words.nav.device, exact: true }).click();
  await page.getByText(words.device.versionReady).waitFor();
});

/**
 * The browser as the tests use it: one profile folder, phone size, and a way to
 * kill it as a flat battery would.
 */
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { chromium } from 'playwright-core';
import { locale } from './words.mjs';

const FLAGS = [
  '--headless', '--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run',
  '--disable-background-networking', '--disable-component-update', '--disable-sync',
];

export const PHONE = { width: 390, height: 844 };
export const DESK = { width: 1280, height: 800 };

/** The browser's path: CHROMIUM, or the name that a path holds. */
const executablePath = process.env.CHROMIUM ?? '/usr/bin/chromium';

/** A fresh profile folder, gone when the test ends. */
export async function profile(t) {
  const folder = await mkdtemp(join(tmpdir(), 'brimline-profile-'));
  t.after(() => rm(folder, { recursive: true, force: true, maxRetries: 5 }));
  return folder;
}

/**
 * Opens the profile in a browser process of its own, closed when the test ends.
 * `options` are those of Playwright's contexts, for example viewport and colorScheme.
 */
export async function open(t, folder, options = {}) {
  const context = await chromium.launchPersistentContext(folder, {
    executablePath,
    headless: true,
    args: FLAGS,
    viewport: PHONE,
    locale,
    timezoneId: 'Europe/Berlin',
    ...options,
  });
  context.setDefaultTimeout(15_000);
  t?.after(async () => {
    await lastPictures(t, context);
    await context.close().catch(() => undefined);
  });
  return context;
}

/** Where a test ended, as pictures and text in the folder that SHOTS names; for whoever looks for a failure. */
async function lastPictures(t, context) {
  if (process.env.SHOTS === undefined) return;
  for (const [k, page] of context.pages().entries()) {
    const path = join(process.env.SHOTS, `${t.name.slice(0, 40).replaceAll(/\W+/g, '-')}-${k}`);
    await page.screenshot({ path: `${path}.png` }).catch(() => undefined);
    await writeFile(`${path}.txt`, `${page.url()}\n${await page.locator('body').innerText().catch(String)}`);
  }
}

/** The page of a fresh context. */
export async function firstPage(context) {
  return context.pages()[0] ?? context.newPage();
}

/** Kills this context's own browser process, with no time for any last word. */
export async function kill(context) {
  const session = await context.browser().newBrowserCDPSession();
  const { processInfo } = await session.send('SystemInfo.getProcessInfo');
  const own = processInfo.find((process) => process.type === 'browser');
  const gone = new Promise((done) => context.once('close', done));
  process.kill(own.id, 'SIGKILL');
  await gone;
}

/** Everything the page logged as an error, so that a test can say that there was nothing. */
export function errorsOf(page) {
  const errors = [];
  page.on('pageerror', (error) => errors.push(String(error)));
  page.on('console', (message) => {
    // A request without a network is reported by the browser itself; the app expects it.
    if (message.type() === 'error' && !/net::ERR_|Failed to load resource/.test(message.text())) errors.push(message.text());
  });
  return errors;
}

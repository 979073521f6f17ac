/**
 * The browser's half of the performance table. Prints one line of JSON:
 * milliseconds of each run, ours and the peer's in turn.
 */
import { once } from 'node:events';
import { mkdtemp, readFile, rm } from 'node:fs/promises';
import { createServer } from 'node:http';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { firstPage, open } from './browser.mjs';
import { signedIn } from './person.mjs';
import { serve } from './server.mjs';

const THROTTLE = 4;
const LAUNCHES = 7;
const FORECASTS = 25;

const file = (path) => readFile(fileURLToPath(new URL(path, import.meta.url)));
const median = (values) => [...values].sort((a, b) => a - b)[values.length >> 1];

/** A page with nothing in it, kept by a service worker of the least size. */
const EMPTY = {
  '/': ['text/html', '<!doctype html><title>empty</title><p>empty</p><script>requestAnimationFrame(() => performance.mark("usable")); navigator.serviceWorker.register("/sw.js");</script>'],
  '/sw.js': ['text/javascript', 'oninstall = (e) => e.waitUntil(caches.open("empty").then((c) => c.add("/"))); onactivate = (e) => e.waitUntil(clients.claim()); onfetch = (e) => e.respondWith(caches.match(e.request).then((r) => r ?? fetch(e.request)));'],
};

async function pages(files) {
  const server = createServer((request, answer) => {
    const [type, body] = files[request.url] ?? ['text/plain', ''];
    answer.writeHead(files[request.url] === undefined ? 404 : 200, { 'content-type': type }).end(body);
  }).listen(0, '127.0.0.1');
  await once(server, 'listening');
  return { url: `http://127.0.0.1:${server.address().port}`, close: () => new Promise((done) => server.close(done).closeAllConnections()) };
}

async function throttled(page) {
  const session = await page.context().newCDPSession(page);
  await session.send('Emulation.setCPUThrottlingRate', { rate: THROTTLE });
}

/** Milliseconds from the start of the navigation to the mark "usable", in a new browser process. */
async function launch(profile, url) {
  const context = await open(undefined, profile);
  const page = await context.newPage();
  await throttled(page);
  await page.goto(`${url}/`, { waitUntil: 'commit' });
  const at = await page.waitForFunction(() => performance.getEntriesByName('usable')[0]?.startTime);
  const ms = await at.jsonValue();
  await context.close();
  return ms;
}

async function coldLaunches(profile) {
  const empty = await pages(EMPTY);
  const server = await serve(undefined);
  const context = await open(undefined, profile);
  const page = await firstPage(context);
  await signedIn(page, server);
  await page.goto(empty.url);
  await page.evaluate(() => navigator.serviceWorker.ready);
  await page.waitForFunction(async () => (await caches.match('/')) !== undefined);
  await context.close();
  await server.kill();
  await empty.close();
  const app_ms = [];
  const empty_ms = [];
  for (let n = 0; n < LAUNCHES; n++) {
    app_ms.push(await launch(profile, server.url));
    empty_ms.push(await launch(profile, empty.url));
  }
  await rm(server.folder, { recursive: true, force: true });
  return { app_ms, empty_ms };
}

/** One forecast on the page's main thread, where the throttle works; in the app it runs in a worker. */
async function forecasts(profile) {
  const site = await pages({
    '/': ['text/html', '<!doctype html><title>forecast</title><script src="/wasm_exec.js"></script>'],
    '/wasm_exec.js': ['text/javascript', await file('../src/core/wasm_exec.js')],
    '/brimline.wasm': ['application/wasm', await file('../src/core/brimline.wasm')],
  });
  const input = JSON.stringify(JSON.parse(await file('../../testdata/checks/thirty-readings.json')));
  const context = await open(undefined, profile);
  const page = await context.newPage();
  await page.goto(site.url);
  await page.evaluate(async () => {
    const go = new globalThis.Go();
    const ready = new Promise((done) => (globalThis.brimlineReady = done));
    const { instance } = await WebAssembly.instantiateStreaming(fetch('/brimline.wasm'), go.importObject);
    void go.run(instance);
    await ready;
  });
  await throttled(page);
  const forecast_ms = await page.evaluate(async ({ input, count }) => {
    const once = () => {
      const begin = performance.now();
      const answer = JSON.parse(globalThis.brimline('warmup-forecast', input));
      const ms = performance.now() - begin;
      if (answer.ok === undefined) throw new Error(JSON.stringify(answer));
      return ms;
    };
    once();
    const all = [];
    for (let n = 0; n < count; n++) {
      all.push(once());
      await new Promise((done) => setTimeout(done, 20));
    }
    return all;
  }, { input, count: FORECASTS });
  await context.close();
  await site.close();
  return { forecast_ms };
}

const profile = await mkdtemp(join(tmpdir(), 'brimline-bench-'));
try {
  const figures = { throttle: THROTTLE, ...(await forecasts(profile)), ...(await coldLaunches(profile)) };
  console.error(`medians: app ${median(figures.app_ms)} ms, empty ${median(figures.empty_ms)} ms, forecast ${median(figures.forecast_ms)} ms`);
  console.log(JSON.stringify(figures));
} finally {
  await rm(profile, { recursive: true, force: true, maxRetries: 5 });
}
process.exit(0);

/** What the tests of the drip camera share: a page with the part alone, and films for a camera. */
import { execFile } from 'node:child_process';
import { mkdtemp, readFile, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { promisify } from 'node:util';
import { build, preview } from 'vite';
import { errorsOf, firstPage, open, profile } from './browser.mjs';
import { root } from './server.mjs';
import { words } from './words.mjs';

const run = promisify(execFile);
export const said = words.dripCamera;

export async function folder(t) {
  const path = await mkdtemp(join(tmpdir(), 'brimline-camera-'));
  t.after(() => rm(path, { recursive: true, force: true, maxRetries: 5 }));
  return path;
}

/** The page with the part alone, built and served; its address. */
export async function cameraPage(t) {
  const outDir = await folder(t);
  const shared = { root: join(root, 'pwa'), mode: 'test', logLevel: 'error' };
  await build({ ...shared, build: { outDir, emptyOutDir: true, rollupOptions: { input: join(root, 'pwa/e2e/camera.html') } } });
  const server = await preview({ ...shared, build: { outDir }, preview: { host: '127.0.0.1', port: 0, open: false } });
  t.after(() => server.close());
  return `http://127.0.0.1:${server.httpServer.address().port}/e2e/camera.html`;
}

/** A film and its truth. */
export async function film(t, kind, rate, seconds, seed) {
  const out = join(await folder(t), 'drops.mjpeg');
  await run('go', ['run', './schema/dripcam/clip/film', '-kind', kind, '-rate', rate, '-seconds', seconds, '-seed', seed, '-out', out], { cwd: root });
  return { out, truth: JSON.parse(await readFile(`${out}.json`, 'utf8')) };
}

/** A browser whose camera shows the film, or that has no camera. */
export async function openWith(t, address, cameraFlags, options = {}) {
  const context = await open(t, await profile(t), { ...options, args: ['--headless', '--no-sandbox', '--disable-gpu', '--no-first-run', '--disable-background-networking', ...cameraFlags] });
  const shown = await firstPage(context);
  const errors = errorsOf(shown);
  await shown.goto(address);
  return { shown, errors };
}

export const filmFlags = (out) => ['--use-fake-device-for-media-stream', '--use-fake-ui-for-media-stream', `--use-file-for-fake-video-capture=${out}`];

/** Draws the box as a finger would. */
export async function drawBox(shown, box) {
  const frame = await shown.locator('.frame').boundingBox();
  const at = (x, y) => [frame.x + x * frame.width, frame.y + y * frame.height];
  await shown.mouse.move(...at(box.x, box.y));
  await shown.mouse.down();
  await shown.mouse.move(...at(box.x + box.width / 2, box.y + box.height / 2));
  await shown.mouse.move(...at(box.x + box.width, box.y + box.height));
  await shown.mouse.up();
}


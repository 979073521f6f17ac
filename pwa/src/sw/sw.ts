/**
 * The service worker: keeps one whole release of the app on the phone and serves it with
 * or without a network. It stores all files of a release or none, never answers for the
 * API, and takes over from an older release only when the person agrees. The release
 * before stays until the new one has started once; if it does not start, the old one is
 * served again.
 */
import { SHELL_PREFIX, type ToWorker } from './messages';

declare const self: ServiceWorkerGlobalScope;
declare const __FILES__: [url: string, sha256: string][];
declare const __BUILD__: string;

const SHELL = SHELL_PREFIX + __BUILD__;
/** Holds the one note on whether this release has started. Not a shell: never cleared as one. */
const NOTES = 'brimline-notes';
const START_NOTE = `/start/${__BUILD__}`;
/** After so many starts without a sign of life the release before is served. */
const START_TRIES = 3;
const SUM_HEADER = 'x-content-sha256';
const KEPT_HEADERS = [
  'content-security-policy', 'cross-origin-opener-policy', 'cross-origin-embedder-policy',
  'cross-origin-resource-policy', 'permissions-policy', 'referrer-policy', 'x-content-type-options',
];

let started = false;

async function otherShells(): Promise<string[]> {
  return (await caches.keys()).filter((name) => name.startsWith(SHELL_PREFIX) && name !== SHELL);
}

async function sumOf(body: ArrayBuffer): Promise<string> {
  const sum = new Uint8Array(await crypto.subtle.digest('SHA-256', body));
  return Array.from(sum, (byte) => byte.toString(16).padStart(2, '0')).join('');
}

/** Stores one file: from an older release where it did not change, else from the network, checked. */
async function store(shell: Cache, older: string[], url: string, sum: string): Promise<void> {
  for (const name of older) {
    const held = await (await caches.open(name)).match(url);
    // The page itself is fetched anew: its headers are part of the release.
    if (url !== '/' && held?.headers.get(SUM_HEADER) === sum) return shell.put(url, held);
  }
  const response = await fetch(new Request(url, { cache: 'no-cache', credentials: 'same-origin' }));
  if (!response.ok) throw new Error(`${url}: ${response.status}`);
  const body = await response.arrayBuffer();
  if ((await sumOf(body)) !== sum) throw new Error(`${url}: not the file of this release`);
  const headers = new Headers({ 'content-type': response.headers.get('content-type') ?? '', [SUM_HEADER]: sum });
  for (const name of KEPT_HEADERS) {
    const value = response.headers.get(name);
    if (value !== null) headers.set(name, value);
  }
  await shell.put(url, new Response(body, { headers }));
}

async function install(): Promise<void> {
  const older = await otherShells();
  const shell = await caches.open(SHELL);
  try {
    await Promise.all(__FILES__.map(([url, sum]) => store(shell, older, url, sum)));
  } catch (x) {
    await caches.delete(SHELL);
    throw x;
  }
}

/** Shells of the releases before this one; none while a newer one is stored or waits, because the others may be its own. */
async function olderShells(): Promise<string[]> {
  const { installing, waiting } = self.registration;
  return installing === null && waiting === null ? otherShells() : [];
}

/** The page says that it runs: older releases are no longer needed. */
async function confirmStart(): Promise<void> {
  started = true;
  for (const name of await olderShells()) await caches.delete(name);
  await caches.delete(NOTES);
}

/** Counts one start of the page and returns how many went by without a sign of life. */
async function countStart(): Promise<number> {
  const notes = await caches.open(NOTES);
  const tries = Number((await (await notes.match(START_NOTE))?.text()) ?? 0) + 1;
  await notes.put(START_NOTE, new Response(String(tries)));
  return tries;
}

async function page(request: Request): Promise<Response> {
  const older = started ? [] : await olderShells();
  if (older.length > 0 && (await countStart()) > START_TRIES) {
    for (const name of older) {
      const held = await (await caches.open(name)).match('/');
      if (held !== undefined) return held;
    }
  }
  return (await (await caches.open(SHELL)).match('/')) ?? fetch(request);
}

/** Names of scripts carry their hash, so a page of an older release finds its own files, never newer ones. */
async function file(request: Request, path: string): Promise<Response> {
  const held = await (await caches.open(SHELL)).match(path);
  if (held !== undefined) return held;
  for (const name of await otherShells()) {
    const old = await (await caches.open(name)).match(path);
    if (old !== undefined) return old;
  }
  return fetch(request);
}

self.addEventListener('install', (event) => event.waitUntil(install()));
self.addEventListener('activate', (event) => event.waitUntil(self.clients.claim()));

self.addEventListener('message', (event) => {
  const message = event.data as ToWorker | undefined;
  if (message?.type === 'switch') event.waitUntil(self.skipWaiting());
  if (message?.type === 'started') event.waitUntil(confirmStart());
});

self.addEventListener('fetch', (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== 'GET' || url.origin !== location.origin) return;
  if (url.pathname.startsWith('/api/') || url.pathname === '/sw.js') return;
  event.respondWith(event.request.mode === 'navigate' ? page(event.request) : file(event.request, url.pathname));
});

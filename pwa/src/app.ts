/**
 * The one object the screens talk to; its contract is in seams.ts. Here the parts are
 * put together: database, trunk, clocks, session, sync, service worker.
 */
import { createApp } from './assemble';
import { core } from './core';
import { systemClock } from './device/clock';
import type { App } from './seams';

export type * from './seams';
export { Fault, asFault } from './core/fault';

export const app: App = createApp({
  core,
  clock: systemClock(crypto.randomUUID()),
  fetcher: (url, init) => fetch(url, init),
  reload: () => location.reload(),
});

/** What the page says to the service worker, and the name both know. */
export type ToWorker = { type: 'switch' } | { type: 'started' };

/** Caches that hold a release are named with this and the release. */
export const SHELL_PREFIX = 'brimline-shell-';

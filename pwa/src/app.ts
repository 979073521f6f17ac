/** The one object the screens talk to; its contract is in seams.ts. */
import type { App } from './seams';

export type * from './seams';
export { Fault, asFault } from './core/fault';
export declare const app: App;

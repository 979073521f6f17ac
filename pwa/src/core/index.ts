/** The one trunk of this page. */
import { trustedScript } from '../device/trusted';
import { createCore, type WorkerLike } from './bridge';
import workerURL from './worker.ts?worker&url';

export const core = createCore(
  () => new Worker(trustedScript(workerURL), { type: 'module', name: 'brimline' }) as unknown as WorkerLike,
);

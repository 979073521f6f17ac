/**
 * The page's side of the service worker: registers it, follows the install, and switches
 * releases when the person says so. A release never changes under a running page.
 */
import { trustedScript } from '../device/trusted';
import type { ToWorker } from './messages';

/** How often a page that stays open asks for a newer release. */
const LOOK_EVERY_MS = 60 * 60 * 1000;

export interface InstallState {
  state: 'installing' | 'ready' | 'failed' | 'absent';
  /** A newer release is stored and waits. */
  update: boolean;
}

export interface Installed {
  /** Lets the waiting release take over; the page reloads once it has. false: none waits. */
  switchOver(): boolean;
}

export interface RegisterNeeds {
  changed(state: InstallState): void;
  /** Reloads the page; told once, when another release took over. */
  reload(): void;
}

const say = (worker: ServiceWorker | null, message: ToWorker): void => worker?.postMessage(message);

export async function register(needs: RegisterNeeds): Promise<Installed> {
  const nothing: Installed = { switchOver: () => false };
  const workers: ServiceWorkerContainer | undefined = navigator.serviceWorker;
  if (workers === undefined) {
    needs.changed({ state: 'absent', update: false });
    return nothing;
  }
  // The first worker of a phone takes hold of this page without a reload: the page came from the same release.
  let controlled = workers.controller !== null;
  let reloaded = false;
  workers.addEventListener('controllerchange', () => {
    if (controlled && !reloaded) {
      reloaded = true;
      needs.reload();
    }
    controlled = true;
    say(workers.controller, { type: 'started' });
  });
  let registration: ServiceWorkerRegistration;
  try {
    registration = await workers.register(trustedScript('/sw.js'), { updateViaCache: 'none' });
  } catch {
    needs.changed({ state: workers.controller === null ? 'failed' : 'ready', update: false });
    return nothing;
  }
  say(workers.controller, { type: 'started' });
  follow(registration, needs);
  lookForUpdates(registration);
  return {
    switchOver() {
      say(registration.waiting, { type: 'switch' });
      return registration.waiting !== null;
    },
  };
}

/** Tells the state of the install now and at every change. */
function follow(registration: ServiceWorkerRegistration, needs: RegisterNeeds): void {
  const tell = (failed: boolean): void => {
    const ready = registration.active !== null || registration.waiting !== null;
    const state = ready ? 'ready' : failed ? 'failed' : 'installing';
    needs.changed({ state, update: registration.waiting !== null && registration.active !== null });
  };
  const watch = (worker: ServiceWorker | null): void => {
    worker?.addEventListener('statechange', () => tell(worker.state === 'redundant'));
  };
  watch(registration.installing);
  watch(registration.waiting);
  registration.addEventListener('updatefound', () => {
    watch(registration.installing);
    tell(false);
  });
  tell(false);
}

function lookForUpdates(registration: ServiceWorkerRegistration): void {
  // Without a network the look fails; the next one comes by itself.
  const look = () => void registration.update().catch(() => undefined);
  let lastLookMS = performance.now();
  document.addEventListener('visibilitychange', () => {
    if (document.visibilityState !== 'visible' || performance.now() - lastLookMS < LOOK_EVERY_MS) return;
    lastLookMS = performance.now();
    look();
  });
  window.addEventListener('online', look);
}

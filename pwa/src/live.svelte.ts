/** The state that screens follow. Written by app.ts alone. */
import type { OfflineView, SessionView, Settings, StorageView, SyncStatus } from './seams';

export const DEFAULT_SETTINGS: Settings = {
  temperature: 'C',
  volume: 'ml',
  torque: 'Nm',
  language: 'auto',
  voice: true,
  sound: true,
  vibration: true,
  muted: false,
  fine_min: 5,
  theme: 'auto',
};

export const session = $state<SessionView>({ state: 'nobody', person: null, workshop: null, device_id: '' });

export const status = $state<SyncStatus>({
  waiting: 0,
  oldest_ms: null,
  mode: 'idle',
  last_ok_ms: null,
  needs_sign_in: false,
  attention: 0,
  parked: 0,
});

export const offline = $state<OfflineView>({ ready: false, update: false, state: 'installing' });

export const storage = $state<StorageView>({
  usable: true,
  persistent: null,
  installed: false,
  used_bytes: null,
  quota_bytes: null,
  full: false,
});

export const settings = $state<Settings>({ ...DEFAULT_SETTINGS });

export const changes = $state({ n: 0 });

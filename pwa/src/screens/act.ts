import { app } from '../app';
import type { EventBodies, EventKind, View } from '../schema';
import type { TempUnit } from '../words/format';

/**
 * Records one act of the open check. Resolves to the view after it, or to
 * undefined when it was refused; the refusal is then already on the screen.
 */
export type Act = <K extends EventKind>(kind: K, body: EventBodies[K]) => Promise<View | undefined>;

/** Live: the unit temperatures are shown and typed in. */
export function settingsUnit(): TempUnit {
  return app.settings.temperature;
}

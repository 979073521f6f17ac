/** Reads something for a screen, again whenever local data changed. */
import { app, asFault, type Fault } from '../app';

export interface Loaded<T> {
  value: T | undefined;
  problem: Fault | undefined;
}

/**
 * Live. Call it while a component is set up. An older answer never overwrites a
 * newer one; the last good value stays on the screen when a later read fails.
 */
export function load<T>(read: () => Promise<T>): Loaded<T> {
  const held = $state<Loaded<T>>({ value: undefined, problem: undefined });
  let turn = 0;
  $effect(() => {
    void app.changes.n;
    const mine = ++turn;
    read().then(
      (value) => {
        if (mine !== turn) return;
        held.value = value;
        held.problem = undefined;
      },
      (error: unknown) => {
        if (mine === turn) held.problem = asFault(error);
      },
    );
  });
  return held;
}

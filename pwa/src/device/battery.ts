/** The phone's own battery, where the browser tells of it. */

interface BatteryLike extends EventTarget {
  readonly level: number;
  readonly charging: boolean;
}

/** Calls `changed` with the charge (0 to 1) now and at each change. The returned function ends that. */
export function watchBattery(changed: (level: number, charging: boolean) => void): () => void {
  let wanted = true;
  let battery: BatteryLike | undefined;
  const tell = () => {
    if (wanted && battery !== undefined && Number.isFinite(battery.level)) changed(battery.level, battery.charging);
  };
  const ask = (navigator as { getBattery?: () => Promise<BatteryLike> }).getBattery;
  if (typeof ask === 'function') {
    ask.call(navigator).then(
      (found) => {
        battery = found;
        if (!wanted) return;
        found.addEventListener('levelchange', tell);
        found.addEventListener('chargingchange', tell);
        tell();
      },
      () => undefined, // refused: nothing is known of the battery
    );
  }
  return () => {
    wanted = false;
    battery?.removeEventListener('levelchange', tell);
    battery?.removeEventListener('chargingchange', tell);
  };
}

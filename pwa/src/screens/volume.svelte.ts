/** The unit volumes are shown in on this device. Only what is shown; entries keep their own unit. */
import type { VolumeUnit } from '../words/format';

const key = 'brimline.volume';

function stored(): VolumeUnit {
  try {
    return localStorage.getItem(key) === 'floz' ? 'floz' : 'ml';
  } catch {
    return 'ml'; // storage can be forbidden; the choice then lasts until the page closes
  }
}

const shown = $state<{ unit: VolumeUnit }>({ unit: stored() });

/** Live. */
export function volumeUnit(): VolumeUnit {
  return shown.unit;
}

export function chooseVolumeUnit(unit: VolumeUnit): void {
  shown.unit = unit;
  try {
    localStorage.setItem(key, unit);
  } catch {
    // see stored
  }
}

/** Live: the units of volume and torque that are shown on this device. Entries keep their own unit. */
import { app } from '../app';
import type { TorqueUnit, VolumeUnit } from '../words/format';

export function volumeUnit(): VolumeUnit {
  return app.settings.volume;
}

export function torqueUnit(): TorqueUnit {
  return app.settings.torque;
}

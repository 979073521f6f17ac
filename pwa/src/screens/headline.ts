/** The advice as it stands on the screen and as it is said. */
import type { View } from '../schema';
import { say } from '../words';
import { temperature, volume, type TempUnit, type VolumeUnit } from '../words/format';

/** The middle of the window as the advice names it, "" where it does not. */
export function middleOf(next: View['next'], unit: TempUnit): string {
  const tempC = next.code === 'wait_middle' ? Number(next.argument) : Number.NaN;
  return Number.isFinite(tempC) ? temperature(tempC, unit) : '';
}

export function headlineOf(next: View['next'], unit: TempUnit, volumeUnit: VolumeUnit): string {
  const text = say('advice', next.code);
  if (next.code.startsWith('exercise_') && next.argument !== undefined && next.code !== 'exercise_end') return `${text} ${next.argument}`;
  const middle = middleOf(next, unit);
  if (middle !== '') return `${text} ${middle}`;
  if (next.code === 'add' && next.amount_ml !== undefined) return `${text}: ${volume(next.amount_ml, volumeUnit)}`;
  return text;
}

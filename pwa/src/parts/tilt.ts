/** From samples of the slope sensor to a reading with its spread. No browser in here. */
import type { TiltSample } from '../device/tilt';

/** How long one reading is averaged, and how long the hand has to leave the phone before. */
export const LISTEN_MS = 2000;
export const SETTLE_MS = 1000;
/** Fewer samples than this are no reading. */
export const FEWEST = 5;
/** A phone that trembles more than this does not lie still (common practice, no source). */
export const RESTLESS_DEG = 0.5;
/** Beyond this it does not lie on its back, and half a turn no longer mirrors its error. */
export const STEEP_DEG = 15;

/** The step in which browsers give angles (W3C Device Orientation and Motion, 0.1°); its spread is step / √12. */
const stepDeg = 0.1;
/** The least spread an entry takes (procedure: sd_deg from 0.05°). */
const leastSD = 0.05;

export interface TiltReading {
  pitch_deg: number;
  roll_deg: number;
  pitch_sd: number;
  roll_sd: number;
  turn_deg: number | null;
  samples: number;
}

/** The samples of the last `spanMS` before `nowMS`. */
export function recent(samples: readonly TiltSample[], nowMS: number, spanMS: number = LISTEN_MS): TiltSample[] {
  return samples.filter((s) => s.at_ms > nowMS - spanMS && s.at_ms <= nowMS);
}

/** Mean and spread of samples; undefined for none. */
export function readingOf(samples: readonly TiltSample[]): TiltReading | undefined {
  const last = samples.at(-1);
  if (last === undefined) return undefined;
  const [pitch_deg, pitch_sd] = meanAndSD(samples.map((s) => s.pitch_deg));
  const [roll_deg, roll_sd] = meanAndSD(samples.map((s) => s.roll_deg));
  return { pitch_deg, roll_deg, pitch_sd, roll_sd, turn_deg: last.turn_deg, samples: samples.length };
}

function meanAndSD(values: readonly number[]): [number, number] {
  const mean = values.reduce((a, b) => a + b, 0) / values.length;
  const squares = values.reduce((a, b) => a + (b - mean) ** 2, 0);
  return [mean, values.length < 2 ? 0 : Math.sqrt(squares / (values.length - 1))];
}

/** Why a reading cannot be used, or undefined when it can. */
export function trouble(r: TiltReading | undefined): 'none' | 'steep' | 'restless' | undefined {
  if (r === undefined || r.samples < FEWEST) return 'none';
  if (Math.abs(r.pitch_deg) > STEEP_DEG || Math.abs(r.roll_deg) > STEEP_DEG) return 'steep';
  return r.pitch_sd > RESTLESS_DEG || r.roll_sd > RESTLESS_DEG ? 'restless' : undefined;
}

/**
 * The standard uncertainty of the slope from two readings: half the root of what each
 * brings, its trembling and the rounding. The trembling is not divided by the number of
 * samples, for it is slow: neighbours are not independent. The larger axis counts for both.
 */
export function spreadOf(first: TiltReading, turned: TiltReading): number {
  const of = (sd: number) => sd * sd + (stepDeg * stepDeg) / 12;
  const pitch = Math.sqrt(of(first.pitch_sd) + of(turned.pitch_sd)) / 2;
  const roll = Math.sqrt(of(first.roll_sd) + of(turned.roll_sd)) / 2;
  return Math.max(leastSD, Math.ceil(Math.max(pitch, roll) * 100) / 100);
}

/** By how much the phone was turned between two readings, 0-180°; null where it has no heading. */
export function turnBetween(first: TiltReading, turned: TiltReading): number | null {
  if (first.turn_deg === null || turned.turn_deg === null) return null;
  const turn = Math.abs(turned.turn_deg - first.turn_deg) % 360;
  return turn > 180 ? 360 - turn : turn;
}

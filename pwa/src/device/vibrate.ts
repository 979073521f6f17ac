/** Vibration, where the phone has it. An extra: nothing may depend on it, and some browsers only pretend. */
import type { Tone } from './sound';

const patterns: Partial<Record<Tone, number[]>> = {
  place: [90, 60, 160],
  done: [250],
  time: [120, 80, 120, 80, 120],
  alarm: [300, 100, 300, 100, 300, 100, 600],
};

/** Buzzes as the tone of the same name would sound. */
export function buzz(tone: Tone): void {
  const pattern = patterns[tone];
  if (pattern === undefined || typeof navigator === 'undefined' || typeof navigator.vibrate !== 'function') return;
  try {
    navigator.vibrate(pattern);
  } catch {
    // Refused before the first touch.
  }
}

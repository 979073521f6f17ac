/**
 * The phone as a level, where the browser lets it. The phone lies on its back,
 * its top edge to the front of the vehicle; nose up and right side up are positive.
 */
import type { AttitudePair } from '../schema';

/** How long one reading is averaged. */
const listenMS = 1500;

interface Askable {
  requestPermission(): Promise<string>;
}

function askable(x: unknown): x is Askable {
  return typeof x === 'function' && 'requestPermission' in x && typeof x.requestPermission === 'function';
}

/** Reads the phone's slope, or returns null where there is no sensor or no permission. Call it from a tap. */
export async function readTilt(): Promise<AttitudePair | null> {
  if (typeof DeviceOrientationEvent === 'undefined') return null;
  if (askable(DeviceOrientationEvent)) {
    const answer = await DeviceOrientationEvent.requestPermission().catch(() => 'denied');
    if (answer !== 'granted') return null;
  }
  return new Promise((resolve) => {
    let pitch = 0;
    let roll = 0;
    let n = 0;
    const hear = (event: DeviceOrientationEvent) => {
      if (event.beta === null || event.gamma === null) return;
      pitch += event.beta;
      roll -= event.gamma; // gamma grows when the right side goes down
      n++;
    };
    addEventListener('deviceorientation', hear);
    setTimeout(() => {
      removeEventListener('deviceorientation', hear);
      resolve(n === 0 ? null : { pitch_deg: round(pitch / n), roll_deg: round(roll / n) });
    }, listenMS);
  });
}

const round = (deg: number) => Math.round(deg * 100) / 100;

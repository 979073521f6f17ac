/**
 * The phone's own slope, sample by sample, where the browser gives it. The phone lies
 * on its back: top edge up and right edge up are positive. Browsers round each sample
 * to 0.1°, so a figure is never better than that step.
 */

export interface TiltSample {
  at_ms: number;
  pitch_deg: number;
  roll_deg: number;
  /** The heading, where there is one; its zero is anywhere. */
  turn_deg: number | null;
}

interface Askable {
  requestPermission(): Promise<string>;
}

function askable(x: unknown): x is Askable {
  return typeof x === 'function' && 'requestPermission' in x && typeof x.requestPermission === 'function';
}

/**
 * Asks for the sensor where the browser wants to be asked; call it from a tap.
 * absent: there is no such sensor here. denied: the person or the browser said no.
 */
export async function askTilt(): Promise<'granted' | 'denied' | 'absent'> {
  if (typeof DeviceOrientationEvent === 'undefined') return 'absent';
  if (!askable(DeviceOrientationEvent)) return 'granted';
  const answer = await DeviceOrientationEvent.requestPermission().catch(() => 'denied');
  return answer === 'granted' ? 'granted' : 'denied';
}

/** Calls back with each sample until the returned function is called. */
export function followTilt(heard: (sample: TiltSample) => void): () => void {
  const hear = (event: DeviceOrientationEvent): void => {
    if (event.beta === null || event.gamma === null) return;
    // gamma grows when the right edge goes down
    heard({ at_ms: performance.now(), pitch_deg: event.beta, roll_deg: -event.gamma, turn_deg: event.alpha });
  };
  addEventListener('deviceorientation', hear);
  return () => removeEventListener('deviceorientation', hear);
}

/** Short tones made on the phone, for where no voice can speak and for what must be heard through noise. */
import type { Urgency } from './voice';

export type Tone = 'advice' | 'place' | 'count' | 'done' | 'time' | 'alarm';

interface Note {
  hertz: number;
  ms: number;
  /** Silence after it. */
  restMS: number;
}

const even = (hertz: number, ms: number, restMS: number, times: number): Note[] => Array.from({ length: times }, () => ({ hertz, ms, restMS }));

/** What each tone sounds like; words.voice.tone says what it means. */
export const tones: Record<Tone, readonly Note[]> = {
  advice: [{ hertz: 330, ms: 180, restMS: 0 }],
  place: [{ hertz: 440, ms: 140, restMS: 40 }, { hertz: 660, ms: 220, restMS: 0 }],
  count: [{ hertz: 1050, ms: 70, restMS: 0 }],
  done: [{ hertz: 880, ms: 380, restMS: 0 }],
  time: even(620, 160, 110, 3),
  alarm: Array.from({ length: 4 }, () => [{ hertz: 700, ms: 180, restMS: 0 }, { hertz: 1050, ms: 220, restMS: 40 }]).flat(),
};

const loudness: Record<Urgency, number> = { low: 0.12, normal: 0.3, high: 0.75 };

export interface Sounder {
  play(tone: Tone, urgency: Urgency): void;
  /** Call from a touch: browsers hold sound back until there was one. */
  unlock(): void;
}

/** What is used of an AudioContext. */
export type AudioLike = Pick<AudioContext, 'currentTime' | 'createOscillator' | 'createGain' | 'destination' | 'resume' | 'state'>;

/** A sounder on a context that is made at the first tone. `make` returns undefined where there is no sound. */
export function createSounder(make: () => AudioLike | undefined): Sounder {
  let held: AudioLike | undefined;
  const context = (): AudioLike | undefined => (held ??= make());

  function strike(audio: AudioLike, note: Note, atS: number, level: number): void {
    const source = audio.createOscillator();
    const gain = audio.createGain();
    const endS = atS + note.ms / 1000;
    source.frequency.value = note.hertz;
    gain.gain.setValueAtTime(level, atS);
    gain.gain.setValueAtTime(level, Math.max(atS, endS - 0.04));
    gain.gain.exponentialRampToValueAtTime(0.001, endS);
    source.connect(gain).connect(audio.destination);
    source.start(atS);
    source.stop(endS + 0.02);
  }

  return {
    play(tone, urgency) {
      try {
        const audio = context();
        if (audio === undefined) return;
        if (audio.state === 'suspended') void audio.resume().catch(() => undefined);
        let atS = audio.currentTime;
        for (const note of tones[tone]) {
          strike(audio, note, atS, loudness[urgency]);
          atS += (note.ms + note.restMS) / 1000;
        }
      } catch {
        // No sound on this device; the screen says the same.
      }
    },
    unlock() {
      try {
        const audio = context();
        if (audio?.state === 'suspended') void audio.resume().catch(() => undefined);
      } catch {
        // As above.
      }
    },
  };
}

export function systemSounder(): Sounder {
  return createSounder(() => (typeof AudioContext === 'undefined' ? undefined : new AudioContext()));
}

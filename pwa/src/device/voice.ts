/**
 * Speech by a voice that lives on the phone. Remote voices are never used: they need a
 * network and hand what is said to somebody else. Nothing here waits or throws.
 */

export type Urgency = 'low' | 'normal' | 'high';

export interface VoiceLike {
  readonly lang: string;
  readonly localService: boolean;
  readonly default: boolean;
}

/** What is used of an utterance. */
export interface UtteranceLike {
  voice: unknown;
  lang: string;
  volume: number;
  rate: number;
  onend: unknown;
  onerror: unknown;
}

/** What is used of the browser's speechSynthesis. */
export interface SynthLike {
  getVoices(): readonly VoiceLike[];
  speak(utterance: UtteranceLike): void;
  cancel(): void;
}

export interface Voice {
  /** There is a local voice of this language. */
  has(language: string): boolean;
  /**
   * Says a text. A more urgent text cuts off what is being said, an equal one takes its
   * place, a less urgent one is left unsaid. Returns false where no local voice can say it.
   */
  say(text: string, urgency: Urgency, language: string): boolean;
  silence(): void;
}

const rank: Record<Urgency, number> = { low: 0, normal: 1, high: 2 };
const volume: Record<Urgency, number> = { low: 0.5, normal: 0.8, high: 1 };

/** Some browsers never report the end of an utterance; after so long it is taken as over. */
const longestMS = 12_000;

/** The best local voice of a language: the region asked for first, then the phone's own choice. */
export function localVoice<V extends VoiceLike>(voices: readonly V[], language: string): V | undefined {
  const wanted = language.toLowerCase();
  const base = wanted.split('-')[0];
  const tag = (v: V) => v.lang.toLowerCase().replace('_', '-');
  const able = voices.filter((v) => v.localService && tag(v).split('-')[0] === base);
  return able.find((v) => tag(v) === wanted) ?? able.find((v) => v.default) ?? able[0];
}

export function createVoice(synth: SynthLike | undefined, make: (text: string) => UtteranceLike, nowMS: () => number): Voice {
  let current: { urgency: Urgency; sinceMS: number } | undefined;

  const voiceOf = (language: string): VoiceLike | undefined => {
    try {
      return synth === undefined ? undefined : localVoice(synth.getVoices(), language);
    } catch {
      return undefined;
    }
  };

  return {
    has: (language) => voiceOf(language) !== undefined,
    say(text, urgency, language) {
      const voice = voiceOf(language);
      if (synth === undefined || voice === undefined || text === '') return false;
      const busy = current !== undefined && nowMS() - current.sinceMS < longestMS;
      if (busy && current !== undefined && rank[urgency] < rank[current.urgency]) return true;
      try {
        if (busy) synth.cancel();
        const utterance = make(text);
        utterance.voice = voice;
        utterance.lang = voice.lang;
        utterance.volume = volume[urgency];
        utterance.rate = 1;
        const mine = { urgency, sinceMS: nowMS() };
        current = mine;
        const over = () => {
          if (current === mine) current = undefined;
        };
        utterance.onend = over;
        utterance.onerror = over;
        synth.speak(utterance);
        return true;
      } catch {
        current = undefined;
        return false;
      }
    },
    silence() {
      current = undefined;
      try {
        synth?.cancel();
      } catch {
        // Nothing was being said.
      }
    },
  };
}

/** The phone's own speech. */
export function systemVoice(): Voice {
  const there = typeof speechSynthesis !== 'undefined' && typeof SpeechSynthesisUtterance !== 'undefined';
  // Asked once so that a browser that loads its voices late has them by the first message.
  if (there) speechSynthesis.getVoices();
  return createVoice(
    there ? (speechSynthesis as unknown as SynthLike) : undefined,
    (text) => new SpeechSynthesisUtterance(text) as unknown as UtteranceLike,
    () => performance.now(),
  );
}

import { describe, expect, test, vi } from 'vitest';
import { Announcer, type Message, type Wishes } from './announcer';
import { createSounder, tones, type AudioLike, type Tone } from './sound';
import { createVoice, localVoice, type SynthLike, type UtteranceLike, type VoiceLike } from './voice';

const voices: VoiceLike[] = [
  { lang: 'en-US', localService: false, default: true },
  { lang: 'en_GB', localService: true, default: false },
  { lang: 'de-DE', localService: true, default: false },
];

interface Said {
  text: string;
  utterance: UtteranceLike;
}

function fakes(list: readonly VoiceLike[] = voices) {
  const said: Said[] = [];
  let cancelled = 0;
  let nowMS = 0;
  const texts = new WeakMap<UtteranceLike, string>();
  const synth: SynthLike = {
    getVoices: () => list,
    speak: (utterance) => void said.push({ text: texts.get(utterance) ?? '', utterance }),
    cancel: () => void cancelled++,
  };
  const make = (text: string): UtteranceLike => {
    const utterance: UtteranceLike = { voice: null, lang: '', volume: 0, rate: 0, onend: null, onerror: null };
    texts.set(utterance, text);
    return utterance;
  };
  const voice = createVoice(synth, make, () => nowMS);
  return { said, voice, synth, cancelled: () => cancelled, pass: (ms: number) => (nowMS += ms), end: () => (said.at(-1)?.utterance.onend as () => void)() };
}

describe('voices', () => {
  test('only those of the phone itself, of the language, the region first', () => {
    expect(localVoice(voices, 'en-GB')?.lang).toBe('en_GB');
    expect(localVoice(voices, 'en')?.lang).toBe('en_GB');
    expect(localVoice(voices, 'es')).toBeUndefined();
    expect(localVoice([{ lang: 'es-ES', localService: false, default: true }], 'es')).toBeUndefined();
  });

  test('a phone without a voice says so and throws nothing', () => {
    const { voice, said } = fakes([]);
    expect(voice.say('Plug in', 'high', 'en')).toBe(false);
    expect(said).toEqual([]);
    expect(createVoice(undefined, () => { throw new Error('none'); }, () => 0).say('x', 'high', 'en')).toBe(false);
  });

  test('volume follows urgency', () => {
    const { voice, said, end } = fakes();
    for (const urgency of ['low', 'normal', 'high'] as const) {
      voice.say(urgency, urgency, 'en');
      end();
    }
    const volumes = said.map((s) => s.utterance.volume);
    expect(volumes[0]).toBeLessThan(volumes[1] ?? 0);
    expect(volumes[1]).toBeLessThan(volumes[2] ?? 0);
  });

  test('what is more urgent cuts in, what is less urgent is left', () => {
    const { voice, said, cancelled } = fakes();
    voice.say('Let it warm up', 'normal', 'en');
    voice.say('Plug in first', 'high', 'en');
    voice.say('Let it warm up', 'normal', 'en');
    expect(said.map((s) => s.text)).toEqual(['Let it warm up', 'Plug in first']);
    expect(cancelled()).toBe(1);
  });

  test('a browser that never reports an end does not silence the rest', () => {
    const { voice, said, pass } = fakes();
    voice.say('Plug in first', 'high', 'en');
    pass(13_000);
    voice.say('Go to the seat', 'normal', 'en');
    expect(said).toHaveLength(2);
  });
});

describe('the announcer', () => {
  function setUp(list: readonly VoiceLike[], wish: Partial<Wishes> = {}) {
    const { voice, said } = fakes(list);
    const played: Tone[] = [];
    const buzzed: Tone[] = [];
    const shown: string[] = [];
    const announcer = new Announcer({
      voice,
      sounder: { play: (tone) => void played.push(tone), unlock: () => undefined },
      buzz: (tone) => void buzzed.push(tone),
      wishes: () => ({ muted: false, voice: true, sound: true, vibration: true, ...wish }),
      language: () => 'en',
      show: (text) => void shown.push(text),
    });
    return { announcer, said, played, buzzed, shown };
  }
  const act: Message = { text: 'Go under', urgency: 'normal', tone: 'place' };
  const tick: Message = { text: '', urgency: 'low', tone: 'count' };
  const time: Message = { text: '1 minute left', urgency: 'high', tone: 'time' };

  test('everything spoken is shown; with a voice a tone comes only before the urgent', () => {
    const { announcer, said, played, shown } = setUp(voices);
    announcer.tell([act]);
    announcer.tell([tick]);
    announcer.tell([act, time]);
    expect(said.map((s) => s.text)).toEqual(['Go under', '1 minute left. Go under']);
    expect(shown).toEqual(said.map((s) => s.text));
    expect(played).toEqual(['count', 'time']);
  });

  test('without a voice tones take its place, and the text is still shown', () => {
    const { announcer, said, played, shown } = setUp([]);
    announcer.tell([act]);
    expect([said.length, played, shown]).toEqual([0, ['place'], ['Go under']]);
  });

  test('muted: shown, not heard, not felt', () => {
    const { announcer, said, played, buzzed, shown } = setUp(voices, { muted: true });
    announcer.tell([time]);
    expect([said.length, played.length, buzzed.length, shown]).toEqual([0, 0, 0, ['1 minute left']]);
  });
});

test('tones get louder with urgency, and a phone without sound stays quiet', () => {
  const levels: number[] = [];
  const node = { connect: (to: unknown) => to };
  const param = { value: 0, setValueAtTime: (level: number) => void levels.push(level), exponentialRampToValueAtTime: () => undefined };
  const audio = {
    currentTime: 0, state: 'running', destination: node, resume: () => Promise.resolve(),
    createOscillator: () => ({ ...node, frequency: { value: 0 }, start: vi.fn(), stop: vi.fn() }),
    createGain: () => ({ ...node, gain: param }),
  } as unknown as AudioLike;
  const sounder = createSounder(() => audio);
  const peak = (urgency: 'low' | 'normal' | 'high') => {
    levels.length = 0;
    sounder.play('time', urgency);
    expect(levels.length).toBeGreaterThanOrEqual(tones.time.length);
    return Math.max(...levels);
  };
  expect(peak('low')).toBeLessThan(peak('normal'));
  expect(peak('normal')).toBeLessThan(peak('high'));
  expect(() => createSounder(() => undefined).play('alarm', 'high')).not.toThrow();
  expect(() => createSounder(() => { throw new Error('refused'); }).unlock()).not.toThrow();
});

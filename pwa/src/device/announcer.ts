/**
 * Hands messages to whatever this phone can do: voice, tone, vibration. Every message is
 * also shown; muting silences the device and never the screen.
 */
import type { Sounder, Tone } from './sound';
import type { Urgency, Voice } from './voice';

export interface Message {
  /** "" for a mere tick: heard, not shown. */
  text: string;
  urgency: Urgency;
  tone: Tone;
}

export interface Wishes {
  muted: boolean;
  voice: boolean;
  sound: boolean;
  vibration: boolean;
}

export interface AnnouncerNeeds {
  voice: Voice;
  sounder: Sounder;
  buzz(tone: Tone): void;
  wishes(): Wishes;
  language(): string;
  /** Shows what is said. */
  show(text: string, urgency: Urgency): void;
}

const rank: Record<Urgency, number> = { low: 0, normal: 1, high: 2 };

export class Announcer {
  readonly #needs: AnnouncerNeeds;

  constructor(needs: AnnouncerNeeds) {
    this.#needs = needs;
  }

  /** Messages of one moment, said as one, the most urgent first. Never waits, never throws. */
  tell(messages: readonly Message[]): void {
    if (messages.length === 0) return;
    const { voice, sounder, buzz, wishes, language, show } = this.#needs;
    const sorted = [...messages].sort((a, b) => rank[b.urgency] - rank[a.urgency]);
    const first = sorted[0];
    if (first === undefined) return;
    const text = sorted.map((m) => m.text).filter((t) => t !== '').join('. ');
    if (text !== '') show(text, first.urgency);
    const wish = wishes();
    if (wish.muted) return;
    if (wish.vibration) buzz(first.tone);
    const spoken = wish.voice && text !== '' && voice.say(text, first.urgency, language());
    // A voice needs no tone before it, except where noise could swallow the first word.
    if (wish.sound && (!spoken || first.urgency === 'high')) sounder.play(first.tone, first.urgency);
  }

  silence(): void {
    this.#needs.voice.silence();
  }
}

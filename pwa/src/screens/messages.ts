/**
 * Turns the changes of a check's view into what is to be said. It remembers what it has
 * said, so that one change is said once, however often the view is looked at.
 */
import type { Message } from '../device/announcer';
import type { View } from '../schema';
import { say, words } from '../words';
import { degreesOf, temperature, type TempUnit } from '../words/format';

/** One look at the check. */
export interface Heard {
  view: View;
  headline: string;
  /** Seconds until the upper limit may be reached (9 in 10 sure); undefined outside the window. */
  leftS: number | undefined;
  limitC: number | undefined;
  unit: TempUnit;
}

/** Minutes before the limit at which the time left is said. */
const minutes = [5, 3, 1] as const;
/** The time left must grow by so much before a warning can come again. */
const rearmS = 45;
/** Decisions after which the engine is stopped once the plug is in. */
const stops: ReadonlySet<string> = new Set(['close_stop_repeat', 'stop_find_cause', 'stop_vehicle']);
const nearC = 3;
const rearmC = 1.5;

export class Listener {
  #advice = '';
  #place = '';
  #position = -2;
  #warned = Number.POSITIVE_INFINITY;
  #near = false;
  #zone = '';
  #plugOut: boolean | undefined;
  #count = Number.POSITIVE_INFINITY;
  #hold = '';

  /** What is new since the last look, in no order. */
  hear(now: Heard): Message[] {
    return [...this.#plug(now), ...this.#window(now), ...this.#exercise(now), ...this.#act(now)];
  }

  #act({ view, headline }: Heard): Message[] {
    const { next, state } = view;
    const inHand = next.code === 'exercise_hold' || next.code === 'exercise_wait' || next.code === 'tap_drips';
    const key = inHand ? next.code.slice(0, 8) : `${next.code} ${next.place} ${next.argument ?? ''}`;
    if (key === this.#advice) return [];
    const moved = this.#place !== '' && next.place !== this.#place;
    this.#advice = key;
    this.#place = next.place;
    if (inHand) return [];
    if (next.code === 'plug_first' || (next.code === 'close_plug' && stops.has(next.argument ?? ''))) {
      return [{ text: state.engine === 'idle' ? words.voice.plugFirst : headline, urgency: 'high', tone: 'alarm' }];
    }
    if (next.code === 'close_plug' && next.argument !== undefined) return [{ text: say('decision', next.argument), urgency: 'normal', tone: 'advice' }];
    const going = next.act === 'place.changed';
    if (going) return [{ text: headline, urgency: 'normal', tone: 'place' }];
    if (moved) return [{ text: words.voice.goTo(say('place', next.place), headline), urgency: 'normal', tone: 'place' }];
    return [{ text: headline, urgency: next.act === 'reading.taken' ? 'low' : 'normal', tone: 'advice' }];
  }

  #plug({ view }: Heard): Message[] {
    const before = this.#plugOut;
    this.#plugOut = view.state.plug_out;
    if (before !== false || !view.state.plug_out || view.state.engine !== 'idle') return [];
    return [{ text: words.voice.plugOutNow, urgency: 'normal', tone: 'advice' }];
  }

  #window({ view, leftS, limitC, unit }: Heard): Message[] {
    const { zone, temp_c: tempC, fit_final: fitted, engine } = view.state;
    const out: Message[] = [];
    const before = this.#zone;
    this.#zone = zone;
    if (fitted || engine !== 'idle') return out;
    if (before === 'below' && (zone === 'in_time' || zone === 'in_short')) out.push({ text: words.voice.windowOpen, urgency: 'normal', tone: 'time' });
    if (before !== '' && before !== 'above' && zone === 'above') out.push({ text: words.voice.windowOver, urgency: 'high', tone: 'alarm' });
    if (zone === 'above') return out;
    if (leftS !== undefined) out.push(...this.#timeLeft(leftS));
    if (limitC !== undefined && tempC !== null) {
      const near = tempC >= limitC - nearC;
      if (near && !this.#near && tempC <= limitC) {
        const left = unit === 'F' ? (limitC - tempC) * 1.8 : limitC - tempC;
        out.push({ text: words.voice.degreesLeft(degreesOf(left, unit), temperature(limitC, unit)), urgency: 'high', tone: 'time' });
      }
      if (near || tempC < limitC - nearC - rearmC) this.#near = near;
    }
    return out;
  }

  #timeLeft(leftS: number): Message[] {
    while (leftS > this.#warned * 60 + rearmS) this.#warned = minutes.findLast((m) => m > this.#warned) ?? Number.POSITIVE_INFINITY;
    const due = minutes.findLast((m) => leftS <= m * 60);
    if (due === undefined || due >= this.#warned) return [];
    this.#warned = due;
    const whole = Math.floor((leftS + 5) / 60);
    const text = whole < 1 ? words.voice.underMinute : words.voice.minutesLeft(whole);
    return [{ text, urgency: due <= 3 ? 'high' : 'normal', tone: 'time' }];
  }

  /** "Reverse … five … Neutral": the position when it is asked for, the count while it is held. */
  #exercise({ view }: Heard): Message[] {
    const { next, state, timers } = view;
    if (!state.exercising) {
      this.#position = -2;
      return [];
    }
    const out: Message[] = [];
    const index = next.code === 'exercise_hold' ? state.exercise_at + 1 : state.exercise_at;
    if ((next.code === 'exercise_hold' || next.code === 'exercise_wait') && index !== this.#position && next.argument !== undefined) {
      this.#position = index;
      out.push({ text: words.voice.position[next.argument] ?? next.argument, urgency: 'normal', tone: next.code === 'exercise_hold' && index > 0 ? 'done' : 'advice' });
    }
    const dwell = timers?.find((t) => t.code === 'dwell');
    if (dwell !== undefined && next.code === 'exercise_wait') out.push(...this.#countdown(`${state.exercise_at}`, dwell.left_s, dwell.total_s));
    return out;
  }

  #countdown(hold: string, leftS: number, totalS: number): Message[] {
    const left = Math.ceil(leftS - 0.15);
    if (hold !== this.#hold || left > this.#count) {
      this.#hold = hold;
      this.#count = Math.ceil(totalS);
    }
    if (left >= this.#count || left < 1) return [];
    this.#count = left;
    // A short dwell leaves no time for "five".
    const spoken = totalS > 5.5 ? 5 : 3;
    if (left === spoken) return [{ text: words.voice.count[String(left)] ?? String(left), urgency: 'normal', tone: 'count' }];
    return left <= 3 ? [{ text: '', urgency: 'low', tone: 'count' }] : [];
  }
}

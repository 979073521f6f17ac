import { describe, expect, test } from 'vitest';
import type { Timer, View } from '../schema';
import { en } from '../words/en';
import { headlineOf } from './headline';
import { Listener, type Heard } from './messages';
import { sampleView } from './sample';

/** A running check with the engine on, in the seat, in the window. */
function view(next: Partial<View['next']>, state: Partial<View['state']> = {}, timers: Timer[] = []): View {
  const base = sampleView('open');
  return {
    ...base,
    timers,
    next: { code: 'warm_up', act: 'reading.taken', place: 'seat', ...next },
    state: { ...base.state, place: 'seat', engine: 'idle', plug_out: false, zone: 'in_time', temp_c: 40, fit_final: false, exercising: false, ...state },
  };
}

const heard = (v: View, leftS?: number): Heard => ({ view: v, headline: headlineOf(v.next, 'C', 'ml'), leftS, limitC: 50, unit: 'C' });
const texts = (listener: Listener, now: Heard) => listener.hear(now).map((m) => m.text);

describe('the next act', () => {
  test('is said once, however often the view is looked at', () => {
    const listener = new Listener();
    expect(texts(listener, heard(view({})))).toEqual([en.code.advice['warm_up']]);
    for (let k = 0; k < 20; k++) expect(texts(listener, heard(view({})))).toEqual([]);
  });

  test('names the place when it changes', () => {
    const listener = new Listener();
    listener.hear(heard(view({})));
    expect(texts(listener, heard(view({ code: 'open_plug', act: 'plug.opened', place: 'under' })))).toEqual([
      en.voice.goTo(en.code.place.under, en.code.advice['open_plug'] ?? ''),
    ]);
  });

  test('plug in first, then engine off: urgent while the engine runs', () => {
    const listener = new Listener();
    listener.hear(heard(view({}, { plug_out: true })));
    const [message] = listener.hear(heard(view({ code: 'plug_first', act: 'plug.closed', place: 'under' }, { plug_out: true })));
    expect(message).toEqual({ text: en.voice.plugFirst, urgency: 'high', tone: 'alarm' });
  });
});

describe('the window', () => {
  test('five, three and one minute, each once, by the sure end of the forecast', () => {
    const listener = new Listener();
    const said: string[] = [];
    listener.hear(heard(view({}), 400));
    for (let left = 400; left > 0; left--) said.push(...texts(listener, heard(view({}), left)));
    expect(said).toEqual([en.voice.minutesLeft(5), en.voice.minutesLeft(3), en.voice.minutesLeft(1)]);
  });

  test('a reading that shortens the time says what is left, not what was passed', () => {
    const listener = new Listener();
    listener.hear(heard(view({}), 400));
    expect(texts(listener, heard(view({}), 130))).toEqual([en.voice.minutesLeft(2)]);
    expect(texts(listener, heard(view({}), 30))).toEqual([en.voice.underMinute]);
  });

  test('a forecast that trembles around a mark does not say it again; one that grew does', () => {
    const listener = new Listener();
    listener.hear(heard(view({}), 310));
    expect(texts(listener, heard(view({}), 299))).toHaveLength(1);
    for (const left of [305, 298, 310, 299]) expect(texts(listener, heard(view({}), left))).toEqual([]);
    listener.hear(heard(view({}), 420));
    expect(texts(listener, heard(view({}), 299))).toHaveLength(1);
  });

  test('three degrees from the limit, once; over, once', () => {
    const listener = new Listener();
    listener.hear(heard(view({}, { temp_c: 46 })));
    expect(texts(listener, heard(view({}, { temp_c: 47 })))).toEqual([en.voice.degreesLeft('3\u00a0°C', '50\u00a0°C')]);
    expect(texts(listener, heard(view({}, { temp_c: 48 })))).toEqual([]);
    expect(texts(listener, heard(view({}, { temp_c: 51, zone: 'above' })))).toEqual([en.voice.windowOver]);
    expect(texts(listener, heard(view({}, { temp_c: 52, zone: 'above' })))).toEqual([]);
  });

  test('nothing of the window once the plug is fitted for good', () => {
    const listener = new Listener();
    const fitted = { fit_final: true };
    listener.hear(heard(view({}, fitted), 400));
    expect(texts(listener, heard(view({}, { ...fitted, temp_c: 49 }), 50))).toEqual([]);
  });
});

test('a dwell: the position, five, three ticks, the next position', () => {
  const listener = new Listener();
  const hold = (left: number): Timer[] => [{ code: 'dwell', kind: 'wait', total_s: 6, elapsed_s: 6 - left, left_s: left, certain: true }];
  const holding = (left: number) => view({ code: left > 0 ? 'exercise_wait' : 'exercise_hold', act: left > 0 ? '' : 'exercise.position', argument: left > 0 ? 'R' : 'N' }, { exercising: true, exercise_at: 1 }, hold(left));
  listener.hear(heard(view({ code: 'exercise_start', act: 'exercise.started' })));
  const said = listener.hear(heard(view({ code: 'exercise_hold', act: 'exercise.position', argument: 'R' }, { exercising: true, exercise_at: 0 }))).map((m) => m.text);
  for (const left of [6, 5, 5, 4, 3, 2, 1, 0, 0]) said.push(...texts(listener, heard(holding(left))));
  expect(said).toEqual(['Reverse', 'five', '', '', '', 'Neutral']);
});

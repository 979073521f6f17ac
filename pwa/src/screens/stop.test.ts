import { describe, expect, test } from 'vitest';
import { NOT_DONE_REASONS, STOP_REASONS, type CheckEvent, type EventKind, type View } from '../schema';
import { closesAs, engineCause, goOn, notedSinceStop, ordersAhead, stopUnderWay } from './stop';
import { sampleEvents, sampleView } from './sample';

const event = (kind: EventKind, body: unknown = {}): CheckEvent => ({ ...(sampleEvents[0] as CheckEvent), kind, body });
const done = { brakeHeld: false, plugLeft: false, chocked: false };
const at = (stop: string[], state: Partial<View['state']> = {}, allowed: EventKind[] = []): View => {
  const base = sampleView('open');
  return { ...base, stop_safely: stop, allowed_next: allowed, state: { ...base.state, ...state } };
};

test('a stop is under way until the engine is started again', () => {
  const begun = [event('engine.started'), event('stop.begun', { reason: 'leak' }), event('plug.closed')];
  expect(stopUnderWay(begun)).toBe('leak');
  expect(stopUnderWay([...begun, event('engine.started')])).toBeUndefined();
  expect(stopUnderWay([])).toBeUndefined();
});

test('a note counts only after the stop', () => {
  const note = event('note.written', { text: 'chocks' });
  expect(notedSinceStop([note, event('stop.begun', { reason: 'other' })], 'chocks')).toBe(false);
  expect(notedSinceStop([event('stop.begun', { reason: 'other' }), note], 'chocks')).toBe(true);
});

describe('orders', () => {
  const all = ['plug_in', 'clear_of_vehicle', 'go_seat', 'engine_off', 'park_and_chocks', 'record_reason'];
  test('come as the procedure gives them', () => {
    expect(ordersAhead(at(all, { place: 'under' }), done)).toEqual(all.slice(0, -1));
  });
  test('getting clear is done once one is not under', () => {
    expect(ordersAhead(at(all, { place: 'beside' }), done)).not.toContain('clear_of_vehicle');
  });
  test('a plug left to get clear comes last', () => {
    const left = { ...done, plugLeft: true };
    expect(ordersAhead(at(all, { place: 'under' }), left)[0]).toBe('clear_of_vehicle');
    expect(ordersAhead(at(['go_under', 'plug_in', 'park_and_chocks'], { place: 'seat' }), { ...left, chocked: true })).toEqual(['go_under', 'plug_in']);
  });
});

describe('going on', () => {
  test('only what the procedure allows', () => {
    expect(goOn(at([], { place: 'seat', fit_final: false }, ['engine.started']), 'phone_call')).toEqual({ may: true });
    expect(goOn(at([], { place: 'seat', fit_final: false, zone: 'above' }), 'overrun')).toEqual({ may: false, why: 'overrun' });
    expect(goOn(at([], { place: 'beside', fit_final: false }), 'weather')).toEqual({ may: 'ask' });
  });
  test('never with bad fluid, after an alarm, or with the plug fitted for good', () => {
    for (const reason of ['alarm', 'bad_fluid', 'wrong_fluid', 'leak', 'plug', 'unwell'] as const) {
      expect(goOn(at([], { place: 'seat', fit_final: false }, ['engine.started']), reason).may).toBe(false);
    }
    expect(goOn(at([], { place: 'seat', fit_final: true }), 'phone_call')).toEqual({ may: false, why: 'fitted' });
  });
});

test('every reason to stop has a reason to close with', () => {
  for (const reason of STOP_REASONS) expect(NOT_DONE_REASONS).toContain(closesAs[reason]);
});

test('an engine that is stopped with the plug out is an emergency', () => {
  expect(engineCause('phone_call', true)).toBe('emergency');
  expect(engineCause('phone_call', false)).toBe('mechanic');
});

import { describe, expect, test } from 'vitest';
import type { TiltSample } from '../device/tilt';
import { readingOf, recent, spreadOf, trouble, turnBetween } from './tilt';

const sample = (at_ms: number, pitch_deg: number, roll_deg = 0, turn_deg: number | null = null): TiltSample => ({ at_ms, pitch_deg, roll_deg, turn_deg });
const still = (pitch: number, turn: number | null = null) => {
  const r = readingOf(Array.from({ length: 20 }, (_, k) => sample(k, pitch, 0.2, turn)));
  if (r === undefined) throw new Error('no reading');
  return r;
};

test('mean and spread of 1, 2, 3, 4: 2.5 and √(5/3) (definition of the sample variance)', () => {
  const r = readingOf([1, 2, 3, 4].map((p, k) => sample(k, p)));
  expect(r?.pitch_deg).toBeCloseTo(2.5, 12);
  expect(r?.pitch_sd).toBeCloseTo(Math.sqrt(5 / 3), 12);
  expect(r?.roll_sd).toBe(0);
});

test('nothing comes of nothing', () => {
  expect(readingOf([])).toBeUndefined();
  expect(trouble(undefined)).toBe('none');
});

test('only the last two seconds count', () => expect(recent([sample(0, 9), sample(2500, 1), sample(3000, 1), sample(9000, 9)], 3000).map((s) => s.at_ms)).toEqual([2500, 3000]));

describe('what is not a reading', () => {
  test('too few', () => expect(trouble(readingOf([sample(0, 1), sample(1, 1)]))).toBe('none'));
  test('a phone in the hand', () => expect(trouble(readingOf([0, 2, 0, 2, 0, 2].map((p, k) => sample(k, p))))).toBe('restless'));
  test('a phone on its edge', () => expect(trouble(still(80))).toBe('steep'));
  test('a still phone is one', () => expect(trouble(still(0.4))).toBeUndefined());
});

describe('spread', () => {
  test('never below what an entry takes', () => expect(spreadOf(still(0.4), still(-0.2))).toBe(0.05));
  test('grows with the trembling: two readings of sd 0.2° give 0.2/√2, and the rounding (root of the sum of squares)', () => {
    const a = { ...still(0.4), pitch_sd: 0.2 };
    expect(spreadOf(a, a)).toBeCloseTo(Math.ceil(100 * Math.sqrt(2 * (0.04 + 0.01 / 12)) / 2) / 100, 12);
  });
});

test('turned half round, over north', () => {
  expect(turnBetween(still(0, 350), still(0, 170))).toBe(180);
  expect(turnBetween(still(0, 350), still(0, 20))).toBe(30);
  expect(turnBetween(still(0), still(0, 20))).toBeNull();
});

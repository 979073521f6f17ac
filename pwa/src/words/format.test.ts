import { describe, expect, test } from 'vitest';
import { clock, number, parseNumber, parts, percent, scaleMarks, signed, signedVolume, temperature, toC, volume, warming } from './format';
import { words } from './index';

const nbsp = '\u00a0';

describe('clock', () => {
  test.each([
    [0, '0:00'], [0.99, '0:00'], [59.9, '0:59'], [60, '1:00'], [247, '4:07'], [3599, '59:59'], [3847, '1:04:07'], [-5, '0:00'], [Number.NaN, '–'], [Infinity, '–'],
  ])('%s s', (s, want) => expect(clock(s)).toBe(want));
});

describe('temperature', () => {
  // Exact by definition of the scales.
  test.each([[0, 'C', '0'], [100, 'F', '212'], [-40, 'F', '\u221240'], [35, 'F', '95']] as const)('%s °C in %s', (c, unit, want) => {
    expect(temperature(c, unit)).toBe(`${want}${nbsp}°${unit}`);
  });
  test('back', () => expect(toC(95, 'F')).toBeCloseTo(35, 12));
  test('a rate is a difference: no 32 in it', () => expect(warming(1, 'F')).toBe(`1.8${nbsp}°F/min`));
});

describe('volume', () => {
  // 1 US fl oz = 29.5735295625 mL (NIST SP 811).
  test('fluid ounces', () => expect(volume(29.5735295625, 'floz')).toBe(`1.0${nbsp}fl${nbsp}oz`));
  test('signed', () => {
    expect(signedVolume(14.4, 'ml')).toBe(`+14${nbsp}mL`);
    expect(signedVolume(-14.4, 'ml')).toBe(`\u221214${nbsp}mL`);
    expect(signed(-0.4)).toBe('0');
    expect(number(-0.4)).toBe('0');
  });
});

describe('percent', () => {
  test.each([[0, `0${nbsp}%`], [0.004, `<${nbsp}1${nbsp}%`], [0.5, `50${nbsp}%`], [0.996, `>${nbsp}99${nbsp}%`], [1, `100${nbsp}%`], [Number.NaN, '–']])(
    '%s', (share, want) => expect(percent(share)).toBe(want));
});

describe('typed numbers', () => {
  test.each([['12.5', 12.5], ['12,5', 12.5], ['-3', -3], ['\u22123', -3], [' 7 ', 7]])('%s is read', (text, want) => expect(parseNumber(text)).toBe(want));
  test.each(['', ' ', '1e3', '0x10', '1.2.3', '--1', '1.', 'NaN', '99999999'])('"%s" is not', (text) => expect(parseNumber(text)).toBeUndefined());
});

describe('scale marks', () => {
  test('round steps', () => expect(scaleMarks(-78, 74, 4)).toEqual([-50, 0, 50]));
  test('nothing for an empty or endless range', () => {
    expect(scaleMarks(1, 1, 5)).toEqual([]);
    expect(scaleMarks(0, Infinity, 5)).toEqual([]);
    expect(scaleMarks(Number.NaN, 1, 5)).toEqual([]);
  });
});

test('spans in words', () => {
  expect(words.span(parts(42))).toBe('42 s');
  expect(words.span(parts(94))).toBe('1 min 34 s');
  expect(words.span(parts(11_520))).toBe('3 h 12 min');
  expect(words.span(parts(400_000))).toBe('4 days');
  expect(words.span(parts(Number.NaN))).toBe('0 s');
});

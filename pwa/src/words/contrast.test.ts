import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';

/** Relative luminance of #rrggbb, WCAG 2.2. */
function luminance(hex: string): number {
  const [r, g, b] = [1, 3, 5].map((at) => {
    const c = Number.parseInt(hex.slice(at, at + 2), 16) / 255;
    return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
  });
  return 0.2126 * (r ?? 0) + 0.7152 * (g ?? 0) + 0.0722 * (b ?? 0);
}

function contrast(a: string, b: string): number {
  const [low, high] = [luminance(a), luminance(b)].sort((x, y) => x - y);
  return ((high ?? 0) + 0.05) / ((low ?? 0) + 0.05);
}

const css = readFileSync('src/style/tokens.css', 'utf8');

/** The colours of the n-th block of custom properties that sets --ground. */
function palette(n: number): Record<string, string> {
  const block = [...css.matchAll(/\{[^{}]*--ground[^{}]*\}/g)][n]?.[0] ?? '';
  return Object.fromEntries([...block.matchAll(/(--[a-z-]+):\s*(#[0-9a-f]{6})/g)].map((m) => [m[1] ?? '', m[2] ?? '']));
}

test('the formula gives 21 for black on white (WCAG 2.2)', () => expect(contrast('#000000', '#ffffff')).toBeCloseTo(21, 6));

test('the chosen dark theme is the dark theme of the phone', () => expect(palette(2)).toEqual(palette(1)));

describe.each([['light', 0], ['dark', 1]] as const)('%s', (_, n) => {
  const p = palette(n);
  test.each([
    ['--ink', '--ground', 15], ['--ink', '--raised', 14], ['--ink', '--sunk', 12], ['--ink-soft', '--ground', 7], ['--ink-soft', '--sunk', 7],
    ['--accent', '--ground', 7], ['--accent-ink', '--accent', 7], ['--edge', '--ground', 3], ['--edge', '--raised', 3],
  ] as const)('%s on %s is at least %s to 1', (front, back, least) => {
    expect(contrast(p[front] ?? '', p[back] ?? '')).toBeGreaterThanOrEqual(least);
  });
});

import { describe, expect, test } from 'vitest';
import { sampleProfile, sampleView } from '../screens/sample';
import { fitWord, needed, outlookOf } from './outlook';

describe('outlook', () => {
  const view = sampleView('open');
  const outlook = outlookOf(view, sampleProfile);

  test('counts every time from now', () => {
    expect(outlook?.fan[0]?.at_s).toBe(0);
    expect(outlook?.closes).toEqual({ p10: 412, p50: 505, p90: 640 });
    expect(outlook?.readings.at(-1)).toEqual({ at_s: -42, temp_c: 37, doubtful: false });
  });
  test('what is not in sight is null', () => {
    expect(outlook?.opens).toBeNull();
    expect(outlookOf(sampleView('over'), sampleProfile)?.closes).toBeNull();
  });
  test('without a window there is nothing to draw', () => expect(outlookOf(view, { ...sampleProfile, window: null })).toBeNull());
  test('before the forecast the steps still stand', () => {
    const { forecast: _, ...without } = view;
    const early = outlookOf(without, sampleProfile);
    expect(early?.fan).toEqual([]);
    expect(early?.fits).toBeNull();
    expect(early?.steps.length).toBe(3);
  });
});

test('needed is the end of the last step', () => {
  expect(needed([])).toBe(0);
  expect(needed(sampleView('open').plan ?? [])).toBe(235);
});

test.each([[0.95, 'well'], [0.9, 'well'], [0.89, 'tight'], [0.5, 'tight'], [0.49, 'not'], [0, 'not'], [null, null]] as const)('a chance of %s reads as %s', (fits, want) => {
  const outlook = outlookOf(sampleView('open'), sampleProfile);
  if (outlook === null) throw new Error('the sample has a window');
  expect(fitWord({ ...outlook, fits })).toBe(want);
});

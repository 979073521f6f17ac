import { expect, test } from 'vitest';
import { grouped } from './drips';

const read = { key: (r: [string, number]) => `${r[0]}${r[1]}`, drip: (r: [string, number]) => r[0] === 'drip', atMS: (r: [string, number]) => r[1] };
const drips = (from: number, n: number): [string, number][] => Array.from({ length: n }, (_, k) => ['drip', from + k * 250]);

test('neighbouring drips are one line with their span', () => {
  const lines = grouped([['plug', 0], ...drips(1000, 49), ['reading', 20_000], ...drips(30_000, 4)], read);
  expect(lines.map((l) => (l.drips === undefined ? l.row[0] : [l.drips.rows.length, l.drips.seconds]))).toEqual(['plug', [49, 12], 'reading', [4, 0.75]]);
});

test('two drips stand on their own, newest first is fine too, and nothing is lost', () => {
  expect(grouped(drips(0, 2), read).map((l) => l.row?.[1])).toEqual([0, 250]);
  const back = [...drips(0, 5)].reverse();
  const lines = grouped(back, read);
  expect(lines[0]?.drips?.seconds).toBe(1);
  expect(lines[0]?.drips?.rows).toEqual(back);
  expect(grouped([], read)).toEqual([]);
});

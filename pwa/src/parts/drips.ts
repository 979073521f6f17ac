/** Rows of a list, with neighbouring drips put together so that 48 taps are one line. */

export interface Drips<T> {
  /** The first row's own key, so that an unfolded group stays unfolded while it grows. */
  key: string;
  rows: T[];
  /** From the first to the last. */
  seconds: number;
}

export type Line<T> = { row: T; drips?: undefined } | { drips: Drips<T>; row?: undefined };

interface Reading<T> {
  key(row: T): string;
  drip(row: T): boolean;
  atMS(row: T): number;
}

/** As few as this stand on their own. */
const fewest = 3;

/** Puts drips that follow each other together; anything else stays a row. The order is kept. */
export function grouped<T>(rows: readonly T[], read: Reading<T>): Line<T>[] {
  const lines: Line<T>[] = [];
  let run: T[] = [];
  const flush = (): void => {
    const [first, last] = [run[0], run.at(-1)];
    if (first === undefined || last === undefined) return;
    if (run.length < fewest) lines.push(...run.map((row) => ({ row })));
    else lines.push({ drips: { key: read.key(first), rows: run, seconds: Math.abs(read.atMS(last) - read.atMS(first)) / 1000 } });
    run = [];
  };
  for (const row of rows) {
    if (read.drip(row)) run.push(row);
    else {
      flush();
      lines.push({ row });
    }
  }
  flush();
  return lines;
}

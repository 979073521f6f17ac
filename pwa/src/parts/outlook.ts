import type { Profile, View } from '../schema';

/** One temperature on the picture; seconds from now, so the past is negative. */
export interface PastReading {
  at_s: number;
  temp_c: number;
  doubtful: boolean;
}

/** The forecast at one moment; seconds from now. */
export interface FanPoint {
  at_s: number;
  p10: number;
  p50: number;
  p90: number;
}

/** When a limit is reached, in seconds from now. */
export interface Reached {
  p10: number;
  p50: number;
  p90: number;
}

export interface StepAhead {
  act: string;
  place: string;
  from_s: number;
  typical_s: number;
  sd_s: number;
}

/** Everything the time-left picture shows. */
export interface Outlook {
  low_c: number;
  high_c: number;
  now_c: number | null;
  readings: PastReading[];
  fan: FanPoint[];
  /** null: open already, or not in sight. */
  opens: Reached | null;
  /** null: over already, or not in sight. */
  closes: Reached | null;
  steps: StepAhead[];
  /** Chance that the steps end before the limit; null where nobody can say. */
  fits: number | null;
}

/**
 * Takes from a view what the picture needs, with every time counted from now.
 * The forecast's curve starts now; the readings are placed by the age of the last.
 */
export function outlookOf(view: View, profile: Profile | null): Outlook | null {
  const window = profile?.window;
  if (window === null || window === undefined) return null;
  const forecast = view.forecast;
  const fromStart = forecast?.curve[0]?.t_s ?? 0;
  const reached = (r: Reached | null | undefined): Reached | null =>
    r === null || r === undefined ? null : { p10: r.p10 - fromStart, p50: r.p50 - fromStart, p90: r.p90 - fromStart };
  return {
    low_c: window.low_c,
    high_c: window.high_c,
    now_c: view.state.temp_c,
    readings: readingsOf(view),
    fan: (forecast?.curve ?? []).map((c) => ({ at_s: c.t_s - fromStart, p10: c.p10, p50: c.p50, p90: c.p90 })),
    opens: reached(forecast?.reaches_low_s),
    closes: reached(forecast?.reaches_high_s),
    steps: view.plan ?? [],
    fits: forecast?.fits_probability ?? null,
  };
}

function readingsOf(view: View): PastReading[] {
  const trace = view.trace ?? [];
  const last = view.state.last_reading;
  if (last === null) return [];
  const anchor = trace.find((p) => p.event_id === last.event_id);
  if (anchor === undefined) return [];
  const now = anchor.t_s + last.age_s;
  return trace.map((p) => ({ at_s: p.t_s - now, temp_c: p.temp_c, doubtful: p.doubtful }));
}

/** Seconds the steps need together. */
export function needed(steps: StepAhead[]): number {
  return steps.reduce((end, s) => Math.max(end, s.from_s + s.typical_s), 0);
}

/** How the steps stand against the window, in one word for the screens. */
export function fitWord(o: Outlook): 'well' | 'tight' | 'not' | null {
  if (o.fits === null) return null;
  if (o.fits >= 0.9) return 'well';
  return o.fits >= 0.5 ? 'tight' : 'not';
}

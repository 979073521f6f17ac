/** The two clocks of the phone. Everything that needs the time is handed a Clock. */
import type { Moment } from '../schema';

export interface Clock {
  /** This moment by the calendar clock and by the monotonic clock of this page load. */
  now(): Moment;
  /** Minutes the local calendar is ahead of UTC at this place. */
  utcOffsetMin(): number;
}

/**
 * The real clocks. `boot` names one page load: monotonic times are only comparable
 * under the same name. wall_ms is whole milliseconds, mono_ms is never negative.
 */
export function systemClock(boot: string): Clock {
  return {
    now: () => ({ wall_ms: Math.round(Date.now()), mono_ms: Math.max(0, performance.now()), boot }),
    // The platform counts westwards; we count eastwards. The 0 turns -0 into 0.
    utcOffsetMin: () => 0 - new Date().getTimezoneOffset(),
  };
}

/** The calendar date (2006-01-02) of a Unix time in an IANA time zone; UTC where the zone is unknown. */
export function dateIn(timeZone: string, wallMS: number): string {
  const form = (zone: string) =>
    new Intl.DateTimeFormat('en-CA', { timeZone: zone, year: 'numeric', month: '2-digit', day: '2-digit' })
      .formatToParts(wallMS)
      .reduce<Record<string, string>>((all, part) => ({ ...all, [part.type]: part.value }), {});
  let parts: Record<string, string>;
  try {
    parts = form(timeZone);
  } catch {
    parts = form('UTC');
  }
  return `${parts['year'] ?? ''}-${parts['month'] ?? ''}-${parts['day'] ?? ''}`;
}

/** Whole days from one calendar date to another, negative when `to` is earlier; NaN for what is no date. */
export function daysBetween(from: string, to: string): number {
  return Math.round((Date.parse(`${to}T00:00:00Z`) - Date.parse(`${from}T00:00:00Z`)) / 86_400_000);
}

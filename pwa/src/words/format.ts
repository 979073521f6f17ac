/**
 * Numbers as people read them. Everything is stored in °C, mL and seconds; a
 * unit chosen on the device changes what is shown, never what is stored.
 */

export type TempUnit = 'C' | 'F';
export type VolumeUnit = 'ml' | 'floz';
export type TorqueUnit = 'Nm' | 'lbfft';

/** How the reader's region writes numbers, and how the language writes millilitres. */
interface NumberForm {
  locale: string;
  ml: string;
}

let form: NumberForm = { locale: 'en', ml: 'mL' };
const written = new Map<number, Intl.NumberFormat>();

/** Sets the form of every number that is shown. Called by words/index.ts when a language is chosen. */
export function useNumberForm(chosen: NumberForm): void {
  form = chosen;
  written.clear();
}

function numberFormat(digits: number): Intl.NumberFormat {
  const held = written.get(digits);
  if (held !== undefined) return held;
  const made = new Intl.NumberFormat(form.locale, { minimumFractionDigits: digits, maximumFractionDigits: digits, useGrouping: 'min2', numberingSystem: 'latn' });
  written.set(digits, made);
  return made;
}

/** "." or ",", as the reader's region writes it. */
export function decimalMark(): string {
  return numberFormat(1).formatToParts(0.5).find((part) => part.type === 'decimal')?.value ?? '.';
}

/** A true minus sign, so that −4 lines up with +4. */
const minus = '\u2212';
/** Keeps a number and its unit on one line. */
const thin = '\u00a0';

/** mL in one US fluid ounce (NIST SP 811, exact by definition of the gallon). */
const mlPerFluidOunce = 29.5735295625;

/** N·m in one pound-force foot (NIST SP 811: 1.355 818 N·m). */
const nmPerPoundFoot = 1.3558179483314004;

/** Shown instead of a number that is not one. */
export const unknownFigure = '–';

/** Returns v with `digits` decimals and a true minus; "–" where v is no number. */
export function number(v: number, digits = 0): string {
  if (!Number.isFinite(v)) return unknownFigure;
  const text = numberFormat(digits).format(Math.abs(v));
  return v < 0 && /[1-9]/.test(text) ? minus + text : text;
}

/** Returns v with its sign written out, "0" for nothing. */
export function signed(v: number, digits = 0): string {
  if (!Number.isFinite(v)) return unknownFigure;
  const text = number(v, digits);
  return v > 0 && /[1-9]/.test(text) ? `+${text}` : text;
}

/** Converts a temperature (not a difference) from °C. */
export function fromC(tempC: number, unit: TempUnit): number {
  return unit === 'F' ? tempC * 1.8 + 32 : tempC;
}

/** Converts a temperature (not a difference) to °C. */
export function toC(value: number, unit: TempUnit): number {
  return unit === 'F' ? (value - 32) / 1.8 : value;
}

/** "41 °C" or "106 °F". */
export function temperature(tempC: number, unit: TempUnit, digits = 0): string {
  return degreesOf(fromC(tempC, unit), unit, digits);
}

/** "41 °C" for a value that already is in the unit. */
export function degreesOf(value: number, unit: TempUnit, digits = 0): string {
  return `${number(value, digits)}${thin}°${unit}`;
}

/** The figure alone, for dials that carry their unit elsewhere. */
export function temperatureFigure(tempC: number, unit: TempUnit): string {
  return number(fromC(tempC, unit));
}

/** A rate of warming, "1.4 °C/min". */
export function warming(perMinC: number, unit: TempUnit): string {
  return `${number(unit === 'F' ? perMinC * 1.8 : perMinC, 1)}${thin}°${unit}/min`;
}

/** "250 mL" or "8.5 fl oz". */
export function volume(ml: number, unit: VolumeUnit): string {
  return unit === 'floz' ? `${number(ml / mlPerFluidOunce, 1)}${thin}fl${thin}oz` : `${number(ml)}${thin}${form.ml}`;
}

/** "+250 mL", for what is above or below a mark. */
export function signedVolume(ml: number, unit: VolumeUnit): string {
  return unit === 'floz' ? `${signed(ml / mlPerFluidOunce, 1)}${thin}fl${thin}oz` : `${signed(ml)}${thin}${form.ml}`;
}

/** "35 N·m" or "26 lbf·ft". */
export function torque(nm: number, unit: TorqueUnit): string {
  return unit === 'lbfft' ? `${number(nm / nmPerPoundFoot)}${thin}lbf·ft` : `${number(nm, Number.isInteger(nm) ? 0 : 1)}${thin}N·m`;
}

/** Converts mL to the shown unit, for scales of a picture. */
export function volumeFigure(ml: number, unit: VolumeUnit): number {
  return unit === 'floz' ? ml / mlPerFluidOunce : ml;
}

/** "0.4°". */
export function angle(deg: number): string {
  return `${number(deg, 1)}°`;
}

/**
 * "4:07", "1:04:07"; "–" where s is no number. Time left is cut, not rounded, so
 * that it never promises a second that is not there. Below zero it says 0:00.
 */
export function clock(s: number): string {
  if (!Number.isFinite(s)) return unknownFigure;
  const whole = Math.max(0, Math.floor(s));
  const pad = (n: number) => n.toString().padStart(2, '0');
  const hours = Math.floor(whole / 3600);
  const rest = `${pad(Math.floor((whole % 3600) / 60))}:${pad(whole % 60)}`;
  return hours > 0 ? `${hours}:${rest}` : rest.replace(/^0/, '');
}

/** Hours, minutes and seconds to be put into words by the language. */
export function parts(s: number): { days: number; hours: number; minutes: number; seconds: number } {
  const whole = Number.isFinite(s) ? Math.max(0, Math.round(s)) : 0;
  return {
    days: Math.floor(whole / 86400),
    hours: Math.floor((whole % 86400) / 3600),
    minutes: Math.floor((whole % 3600) / 60),
    seconds: whole % 60,
  };
}

/** "82 %", never 0 % or 100 % for what is only nearly so. */
export function percent(share: number): string {
  if (!Number.isFinite(share)) return unknownFigure;
  const p = share * 100;
  if (p > 0 && p < 1) return `<${thin}1${thin}%`;
  if (p < 100 && p > 99) return `>${thin}99${thin}%`;
  return `${number(p)}${thin}%`;
}

/**
 * Reads "12.5" and "12,5" alike, with either minus sign. Anything else, "1e3"
 * included, is undefined.
 */
export function parseNumber(text: string): number | undefined {
  const found = /^\s*([-\u2212]?)(\d{1,7})(?:[.,](\d{1,4}))?\s*$/.exec(text);
  if (found === null) return undefined;
  const value = Number(`${found[2] ?? '0'}.${found[3] ?? '0'}`);
  return found[1] === '' ? value : -value;
}

/** Steps of a scale: at most `most` marks between low and high, at 1, 2 or 5 times a power of ten. */
export function scaleMarks(low: number, high: number, most: number): number[] {
  const width = high - low;
  if (!(width > 0) || !Number.isFinite(width) || most < 1) return [];
  const rough = width / most;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((m) => m * power).find((s) => s >= rough) ?? 10 * power;
  const marks: number[] = [];
  for (let k = Math.ceil(low / step - 1e-9); k * step <= high + step * 1e-9 && marks.length < 100; k++) {
    marks.push(k * step);
  }
  return marks;
}

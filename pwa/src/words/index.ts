/**
 * The words of the screens in the reader's language. A language is one file with
 * the shape of en.ts; add it to `tables` and it is offered by itself.
 */
import { en } from './en';

export type Words = typeof en;

const tables: Record<string, Words> = { en };

/** The first language of the browser that there are words for, else English. */
export function chooseLanguage(wanted: readonly string[]): string {
  for (const tag of wanted) {
    const language = tag.toLowerCase().split('-')[0] ?? '';
    if (language in tables) return language;
  }
  return 'en';
}

export const language = chooseLanguage(typeof navigator === 'undefined' ? [] : navigator.languages);
export const words: Words = tables[language] ?? en;

/** The names of the code tables in a language file. */
export type CodeTable = keyof Words['code'];

/**
 * The text for a code. A code without a text (a newer server, a profile's own
 * word) is shown as it is, because a strange word beats a missing one.
 */
export function say(table: CodeTable, code: string): string {
  const texts: Record<string, string> = words.code[table];
  return Object.hasOwn(texts, code) ? (texts[code] ?? code) : code;
}

/** The text for a code, or undefined where there is none. */
export function known(table: CodeTable, code: string): string | undefined {
  const texts: Record<string, string> = words.code[table];
  return Object.hasOwn(texts, code) ? texts[code] : undefined;
}

/** What went wrong, for people: our words for the code, else the trunk's own message. */
export function explain(fault: { code: string; field?: string; message?: string }): string {
  const text = known('problem', fault.code);
  if (text !== undefined) return text;
  const said = fault.message !== undefined && fault.message !== '' ? fault.message : fault.code;
  return fault.field === undefined || fault.field === '' ? said : `${fault.field}: ${said}`;
}

const locale = typeof navigator === 'undefined' ? 'en' : (navigator.languages[0] ?? 'en');
const dayForm = new Intl.DateTimeFormat(locale, { weekday: 'short', day: 'numeric', month: 'short', year: 'numeric' });
const momentForm = new Intl.DateTimeFormat(locale, { day: 'numeric', month: 'short', year: 'numeric', hour: '2-digit', minute: '2-digit' });
const secondForm = new Intl.DateTimeFormat(locale, { hour: '2-digit', minute: '2-digit', second: '2-digit' });
const dateForm = new Intl.DateTimeFormat(locale, { weekday: 'short', day: 'numeric', month: 'short', year: 'numeric', timeZone: 'UTC' });

/** A day by the phone's clock and zone. */
export function dayOf(ms: number): string {
  return Number.isFinite(ms) ? dayForm.format(ms) : words.unknown;
}

/** A minute by the phone's clock and zone. */
export function momentOf(ms: number): string {
  return Number.isFinite(ms) ? momentForm.format(ms) : words.unknown;
}

/** A time of day to the second, by the phone's clock and zone. */
export function timeOf(ms: number): string {
  return Number.isFinite(ms) ? secondForm.format(ms) : words.unknown;
}

/** A calendar date such as 2026-05-31, which has no time zone. */
export function dateOf(date: string): string {
  const found = /^(\d{4})-(\d{2})-(\d{2})$/.exec(date);
  return found === null ? date : dateForm.format(Date.UTC(Number(found[1]), Number(found[2]) - 1, Number(found[3])));
}

/**
 * The words of the screens in the reader's language. A language is one file with
 * the shape of en.ts; add it to `languages` and `fetchers` and it is offered by itself.
 * English is always here; another language is a file of its own, stored with the app.
 */
import { en } from './en';
import { useNumberForm } from './format';
import type { Words } from './shape';

export type { Words } from './shape';

/** The languages there are words for, each by its own name. */
export const languages = { en: en.language, de: 'Deutsch', es: 'Español' } as const;
export type Language = keyof typeof languages;

const tables: Partial<Record<Language, Words>> = { en };
const fetchers = {
  de: async () => (await import('./de')).de,
  es: async () => (await import('./es')).es,
} as const satisfies Partial<Record<Language, () => Promise<Words>>>;
const isLanguage = (tag: string): tag is Language => Object.hasOwn(languages, tag);

/** The first language of the browser that there are words for, else English. */
export function chooseLanguage(wanted: readonly string[]): Language {
  for (const tag of wanted) {
    const language = tag.toLowerCase().split('-')[0] ?? '';
    if (isLanguage(language)) return language;
  }
  return 'en';
}

/** What the browser asks for, in its order. */
const asked = (): readonly string[] => (typeof navigator === 'undefined' ? [] : navigator.languages);

/** The form of numbers and dates: the browser's own region where it speaks the language, else the language's. */
export function localeOf(chosen: Language, wanted: readonly string[]): string {
  return wanted.find((tag) => tag.toLowerCase().split('-')[0] === chosen) ?? chosen;
}

/** "auto" is the browser's. */
const resolve = (wanted: Language | 'auto'): Language => (wanted !== 'auto' && isLanguage(wanted) ? wanted : chooseLanguage(asked()));

/** Brings the words of a language, so that useLanguage can take it up. Never rejects: without them it stays English. */
export async function fetchLanguage(wanted: Language | 'auto'): Promise<void> {
  const language = resolve(wanted);
  if (language === 'en') return;
  const fetched = tables[language] ?? (await fetchers[language]().catch(() => undefined));
  if (fetched !== undefined) tables[language] = fetched;
}

// The language now. Importers see these change; what is on the screen is drawn anew by App.svelte.
export let language: Language = 'en';
export let words: Words = en;
let forms = formsOf(language);

/** Takes up a language that was fetched, and returns it; English where it was not. */
export function useLanguage(wanted: Language | 'auto'): Language {
  const found = resolve(wanted);
  language = tables[found] === undefined ? 'en' : found;
  words = tables[language] ?? en;
  forms = formsOf(language);
  return language;
}

function formsOf(chosen: Language) {
  const locale = localeOf(chosen, asked());
  useNumberForm({ locale, ml: (tables[chosen] ?? en).check.millilitres });
  const latn = { numberingSystem: 'latn' } as const;
  return {
    day: new Intl.DateTimeFormat(locale, { ...latn, weekday: 'short', day: 'numeric', month: 'short', year: 'numeric' }),
    moment: new Intl.DateTimeFormat(locale, { ...latn, day: 'numeric', month: 'short', year: 'numeric', hour: '2-digit', minute: '2-digit' }),
    second: new Intl.DateTimeFormat(locale, { ...latn, hour: '2-digit', minute: '2-digit', second: '2-digit' }),
    date: new Intl.DateTimeFormat(locale, { ...latn, weekday: 'short', day: 'numeric', month: 'short', year: 'numeric', timeZone: 'UTC' }),
  };
}

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

/** A day by the phone's clock and zone. */
export function dayOf(ms: number): string {
  return Number.isFinite(ms) ? forms.day.format(ms) : words.unknown;
}

/** A minute by the phone's clock and zone. */
export function momentOf(ms: number): string {
  return Number.isFinite(ms) ? forms.moment.format(ms) : words.unknown;
}

/** A time of day to the second, by the phone's clock and zone. */
export function timeOf(ms: number): string {
  return Number.isFinite(ms) ? forms.second.format(ms) : words.unknown;
}

/** A calendar date such as 2026-05-31, which has no time zone. */
export function dateOf(date: string): string {
  const found = /^(\d{4})-(\d{2})-(\d{2})$/.exec(date);
  return found === null ? date : forms.date.format(Date.UTC(Number(found[1]), Number(found[2]) - 1, Number(found[3])));
}

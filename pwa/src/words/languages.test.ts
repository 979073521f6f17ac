import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { de } from './de';
import { en } from './en';
import { es } from './es';
import { angle, decimalMark, number, temperature, torque, volume } from './format';
import { chooseLanguage, dateOf, fetchLanguage, languages, localeOf, useLanguage, words } from './index';

type Leaf = string | ((...values: (string | number)[]) => string);

/** Every text and sentence with its path. */
function leaves(node: unknown, path = ''): [string, Leaf][] {
  if (typeof node === 'string') return [[path, node]];
  if (typeof node === 'function') return [[path, node as Leaf]];
  return Object.entries(node as Record<string, unknown>).flatMap(([key, value]) => leaves(value, path === '' ? key : `${path}/${key}`));
}

/** Texts that are the same word in both languages, or that no language has a word for. */
const same: Record<string, RegExp> = {
  every: /^(product|go\/sameAs|check\/(grams|doubtEqual)|voice\/goTo|timeLeft\/minutes|result\/(about|readingAt)|device\/(celsius|fahrenheit|nm|lbfft|floz|signedIn|bytes))$/,
  de: /^(device\/vibration|voice\/position\/(N|S)|code\/step\/start)$/,
  es: /^(no|go\/state\/no|voice\/position\/M|code\/warmer\/no|code\/status\/provisional)$/,
};

const sampleOf = (fn: (...v: (string | number)[]) => string, path: string, k: number) => {
  if (path === 'span') return fn({ days: 4, hours: 0, minutes: 0, seconds: 0 } as never);
  return fn(...(Array.from({ length: fn.length }, () => String(k))));
};

describe.each([['de', de], ['es', es]] as const)('%s', (tag, table) => {
  const base = leaves(en);
  const mine = new Map(leaves(table));

  test('has every key of English and no other', () => expect([...mine.keys()].sort()).toEqual(base.map(([path]) => path).sort()));

  test('says every text in its own words', () => {
    const untranslated = base.filter(([path, text]) => {
      const own = mine.get(path);
      if (same['every']?.test(path) === true || same[tag]?.test(path) === true) return false;
      if (typeof text === 'function' && typeof own === 'function') return sampleOf(text, path, 7) === sampleOf(own, path, 7);
      return own === text;
    });
    expect(untranslated.map(([path]) => path)).toEqual([]);
  });

  test('the list of equal texts holds nothing that differs', () => {
    const wrong = base.filter(([path, text]) => same[tag]?.test(path) === true && mine.get(path) !== text);
    expect(wrong.map(([path]) => path)).toEqual([]);
  });

  test('no text is empty, doubled in its spaces or left open', () => {
    const bad = [...mine].filter(([, text]) => typeof text === 'string' && (text.trim() === '' || /  |undefined|\$\{|[A-Za-z]TODO/.test(text)));
    expect(bad).toEqual([]);
  });

  test('every sentence carries all its values', () => {
    const lost = base.filter(([path, text]) => {
      const own = mine.get(path);
      if (typeof text !== 'function' || typeof own !== 'function' || path === 'span') return false;
      if (own.length !== text.length) return true;
      if (path === 'device/bytes' || path === 'today/dueIn') return false;
      const values = Array.from({ length: text.length }, (_, k) => String(41 + k));
      const said = text(...values);
      return values.some((v) => said.includes(v) && !own(...values).includes(v));
    });
    expect(lost.map(([path]) => path)).toEqual([]);
  });

  test('one is not many', () => {
    for (const path of ['today/entries', 'today/found', 'timeLeft/textReadings', 'check/minutesLeft', 'voice/minutesLeft']) {
      const fn = mine.get(path);
      if (typeof fn !== 'function') throw new Error(`${path} is no sentence`);
      expect(fn(1).replace('1', '2')).not.toBe(fn(2));
    }
  });
});

test('each language is offered by its own name', () => expect(languages).toEqual({ en: en.language, de: de.language, es: es.language }));

test('German days after "vor" are in the dative', () => {
  const span = de.span({ days: 4, hours: 0, minutes: 0, seconds: 0 });
  expect(span).toBe('4 Tage');
  expect(de.today.since(span)).toBe('begonnen vor 4 Tagen');
});

describe('choosing', () => {
  test.each([
    [['de-AT', 'en'], 'de'], [['fr-FR', 'es-MX', 'en'], 'es'], [['fr'], 'en'], [[], 'en'], [['constructor'], 'en'], [['EN-us'], 'en'],
  ] as const)('%s gives %s', (wanted, language) => expect(chooseLanguage(wanted)).toBe(language));
  test('the region of the browser decides the numbers where it speaks the language', () => {
    expect(localeOf('de', ['en-US', 'de-CH'])).toBe('de-CH');
    expect(localeOf('es', ['en-US', 'de-CH'])).toBe('es');
  });
});

describe('numbers, dates and units in local form', () => {
  test('a language that was not fetched is not half there', () => {
    expect(useLanguage('de')).toBe('en');
    expect(words.yes).toBe('Yes');
  });
  describe('fetched', () => {
    beforeAll(() => Promise.all([fetchLanguage('de'), fetchLanguage('es')]));
    afterAll(() => void useLanguage('en'));
    const nbsp = '\u00a0';

    test('German', () => {
      expect(useLanguage('de')).toBe('de');
      expect(words.yes).toBe('Ja');
      expect(number(-1.25, 2)).toBe('\u22121,25');
      expect(number(184200)).toBe('184.200');
      expect(decimalMark()).toBe(',');
      expect(angle(0.4)).toBe('0,4°');
      expect(volume(250, 'ml')).toBe(`250${nbsp}ml`);
      expect(dateOf('2026-05-31')).toMatch(/31\. Mai 2026/);
    });
    test('Spanish', () => {
      expect(useLanguage('es')).toBe('es');
      expect(temperature(41.26, 'C', 1)).toBe(`41,3${nbsp}°C`);
      expect(number(1500)).toBe('1500'); // four digits stand together (common practice, Intl)
      expect(dateOf('2026-05-31')).toMatch(/31 may/);
    });
    test('back to English', () => {
      expect(useLanguage('en')).toBe('en');
      expect(number(1.25, 2)).toBe('1.25');
      expect(dateOf('2026-05-31')).toMatch(/May/);
    });
    // 1 lbf·ft = 1.3558179483314004 N·m (NIST SP 811).
    test('torque', () => {
      expect(torque(35, 'Nm')).toBe(`35${nbsp}N·m`);
      expect(torque(1.3558179483314004 * 26, 'lbfft')).toBe(`26${nbsp}lbf·ft`);
      expect(torque(Number.NaN, 'Nm')).toBe(`–${nbsp}N·m`);
    });
  });
});

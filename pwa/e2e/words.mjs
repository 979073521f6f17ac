/** The words and number forms a person sees, from the app's own source, so that tests read as a person would. */
import { fileURLToPath } from 'node:url';
import { runnerImport } from 'vite';

async function source(path) {
  const file = fileURLToPath(new URL(path, import.meta.url));
  return (await runnerImport(file, { configFile: false, logLevel: 'error' })).module;
}

/** The language the tests read and the browser asks for: LOOK_LANGUAGE, or English. */
export const language = process.env.LOOK_LANGUAGE ?? 'en';
export const locale = { en: 'en-GB', de: 'de-DE', es: 'es-ES' }[language];
export const words = (await source(`../src/words/${language}.ts`))[language];
export const format = await source('../src/words/format.ts');
format.useNumberForm({ locale, ml: words.check.millilitres });

/** A pattern for text that begins with `text`, whatever follows it. */
export function beginning(text) {
  return new RegExp(`^${text.replace(/[.*+?^${}()|[\]\\]/g, '\\$&')}`);
}

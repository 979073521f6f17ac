/** The words and number forms a person sees, from the app's own source, so that tests read as a person would. */
import { fileURLToPath } from 'node:url';
import { runnerImport } from 'vite';

async function source(path) {
  const file = fileURLToPath(new URL(path, import.meta.url));
  return (await runnerImport(file, { configFile: false, logLevel: 'error' })).module;
}

export const words = (await source('../src/words/en.ts')).en;
export const format = await source('../src/words/format.ts');

/** A pattern for text that begins with `text`, whatever follows it. */
export function beginning(text) {
  return new RegExp(`^${text.replace(/[.*+?^${}()|[\]\\]/g, '\\$&')}`);
}

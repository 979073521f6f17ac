/** The words a person sees, from the app's own source, so that tests read as a person would. */
import { fileURLToPath } from 'node:url';
import { runnerImport } from 'vite';

const source = fileURLToPath(new URL('../src/words/en.ts', import.meta.url));
const { module } = await runnerImport(source, { configFile: false, logLevel: 'error' });

export const words = module.en;

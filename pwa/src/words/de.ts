import { en } from './en';
import type { Words } from './shape';

export const de: Words = { ...en, language: 'Deutsch' };

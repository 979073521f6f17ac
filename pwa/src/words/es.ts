import { en } from './en';
import type { Words } from './shape';

export const es: Words = { ...en, language: 'Español' };

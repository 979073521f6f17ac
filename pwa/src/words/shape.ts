/** What a language file must hold: every key of en.ts, with a text or a sentence of the same values. */
import type { en } from './en';

type Shape<T> = T extends string ? string : T extends (...values: infer V) => string ? (...values: V) => string : { [K in keyof T]: Shape<T[K]> };

export type Words = Shape<typeof en>;

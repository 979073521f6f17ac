/**
 * A failure that a person may be told about: a stable code for the words, the
 * field it is about ("" for none) and the trunk's plain English as a last resort.
 */
export class Fault extends Error {
  readonly code: string;
  readonly field: string;

  constructor(code: string, field = '', message = '') {
    super(message === '' ? code : message);
    this.name = 'Fault';
    this.code = code;
    this.field = field;
  }
}

/** The fault inside x; anything else becomes a fault with the code "internal". */
export function asFault(x: unknown): Fault {
  if (x instanceof Fault) return x;
  return new Fault('internal', '', x instanceof Error ? x.message : String(x));
}

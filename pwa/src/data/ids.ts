/** Ids of records: UUIDs of RFC 9562, made on the phone before anything is sent. */

/** Fills the array with random bytes and returns it. */
export type Random = (bytes: Uint8Array<ArrayBuffer>) => Uint8Array<ArrayBuffer>;

const cryptoRandom: Random = (bytes) => crypto.getRandomValues(bytes);

/** A UUID version 7: 48 bits of Unix milliseconds, then random bits. The time is a hint, never trusted. */
export function newID(wallMS: number, random: Random = cryptoRandom): string {
  const bytes = random(new Uint8Array(16));
  let left = Math.max(0, Math.floor(wallMS));
  for (let i = 5; i >= 0; i--) {
    bytes[i] = left % 256;
    left = Math.floor(left / 256);
  }
  return text(bytes, 7);
}

/**
 * A UUID version 8 that is the same for the same words wherever it is made, so that
 * making the record again is harmless. It is the start of SHA-256 over the words,
 * each ended by a zero byte.
 */
export async function derivedID(...words: string[]): Promise<string> {
  const input = new TextEncoder().encode(words.map((word) => `${word}\0`).join(''));
  const sum = new Uint8Array(await crypto.subtle.digest('SHA-256', input));
  return text(sum.slice(0, 16), 8);
}

/** Sets version and variant (RFC 9562, sections 4.1 and 4.2) and writes the 16 bytes. */
function text(bytes: Uint8Array, version: number): string {
  bytes[6] = ((bytes[6] ?? 0) & 0x0f) | (version << 4);
  bytes[8] = ((bytes[8] ?? 0) & 0x3f) | 0x80;
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, '0')).join('');
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join('-');
}

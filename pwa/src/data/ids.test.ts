import { expect, test } from 'vitest';
import { derivedID, newID } from './ids';

// RFC 9562, appendix A.6: the time 2022-02-22 14:22:22.00-05:00 is 0x017F22E279B0, rand_a is
// 0xCC3 and rand_b 0x18C4DC0C0C07398F.
test('a version 7 id is laid out as in RFC 9562 A.6', () => {
  const random = (bytes: Uint8Array<ArrayBuffer>) => {
    bytes.set([0, 0, 0, 0, 0, 0, 0x0c, 0xc3, 0x18, 0xc4, 0xdc, 0x0c, 0x0c, 0x07, 0x39, 0x8f]);
    return bytes;
  };
  expect(newID(0x017f22e279b0, random)).toBe('017f22e2-79b0-7cc3-98c4-dc0c0c07398f');
});

test('ids of later milliseconds sort later, whatever is random', () => {
  const ids = [1, 2, 1_700_000_000_000, 1_700_000_000_001, 2 ** 47].map((ms) => newID(ms));
  expect([...ids].sort()).toEqual(ids);
});

test('a clock before 1970 still gives a well-formed id', () => {
  expect(newID(-5)).toMatch(/^00000000-0000-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/);
});

test('ten thousand ids of one millisecond are all different', () => {
  expect(new Set(Array.from({ length: 10_000 }, () => newID(1_700_000_000_000))).size).toBe(10_000);
});

test('a derived id is the same for the same words and version 8', async () => {
  const id = await derivedID('reminder', 'a', 'second_cycle');
  expect(id).toMatch(/^[0-9a-f]{8}-[0-9a-f]{4}-8[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/);
  expect(await derivedID('reminder', 'a', 'second_cycle')).toBe(id);
  expect(await derivedID('reminder', 'as', 'econd_cycle')).not.toBe(id);
  expect(await derivedID('reminder', 'b', 'second_cycle')).not.toBe(id);
});

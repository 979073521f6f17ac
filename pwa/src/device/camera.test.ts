import { afterEach, describe, expect, test, vi } from 'vitest';
import { InProcessWorker } from '../core/inprocess';
import {
  Counter, STRIP, CameraFault, greyStrip, openCamera, pixelsOf, troubleOf,
  type EyeWorker, type FromWorker, type Sight, type ToWorker,
} from './camera';

describe('the box', () => {
  const box = { x: 0.25, y: 0.5, width: 0.5, height: 0.25 };
  test('is whole pixels of the picture', () => expect(pixelsOf(box, 640, 480)).toEqual({ x: 160, y: 240, width: 320, height: 120 }));

  test.each([
    ['too small', { x: 0.5, y: 0.5, width: 0.001, height: 0.001 }],
    ['outside', { x: 3, y: -2, width: 0.2, height: 0.4 }],
    ['too large', { x: -1, y: -1, width: 9, height: 9 }],
    ['no numbers', { x: Number.NaN, y: Number.NaN, width: Number.NaN, height: Number.NaN }],
    ['at the corner', { x: 0.99, y: 0.99, width: 0.2, height: 0.2 }],
  ])('%s still lies inside and has room for drops', (_name, region) => {
    for (const [width, height] of [[640, 480], [480, 640], [1920, 1080], [160, 120]] as const) {
      const p = pixelsOf(region, width, height);
      expect(p.x).toBeGreaterThanOrEqual(0);
      expect(p.y).toBeGreaterThanOrEqual(0);
      expect(p.x + p.width).toBeLessThanOrEqual(width);
      expect(p.y + p.height).toBeLessThanOrEqual(height);
      expect(p.width).toBeGreaterThanOrEqual(24);
      expect(p.height).toBeGreaterThanOrEqual(64);
    }
  });

  test('a line becomes a box with room on both sides of its middle', () => {
    const p = pixelsOf({ x: 0.5, y: 0.1, width: 0, height: 0.8 }, 640, 480);
    expect(p.width).toBeGreaterThanOrEqual(p.height / 5 - 1);
    expect(p.x + p.width / 2).toBeCloseTo(320, -1);
  });
});

describe('a strip', () => {
  const paint = (colour: (x: number, y: number) => [number, number, number]) => {
    const [w, h] = [STRIP.width * 2, STRIP.height * 2];
    const rgba = new Uint8ClampedArray(w * h * 4);
    for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) rgba.set([...colour(x, y), 255], (y * w + x) * 4);
    return greyStrip(rgba);
  };

  test('has one level for each cell', () => expect(paint(() => [7, 7, 7]).length).toBe(24 * 96));
  // 0.299 R + 0.587 G + 0.114 B: ITU-R BT.601.
  test.each<[[number, number, number], number]>([[[0, 0, 0], 0], [[255, 255, 255], 255], [[255, 0, 0], 76], [[0, 255, 0], 150], [[0, 0, 255], 29]])(
    'of %j is %d',
    (colour, want) => expect(Math.abs((paint(() => colour)[100] ?? -9) - want)).toBeLessThanOrEqual(1),
  );
  test('averages four pixels, in reading order', () => {
    const strip = paint((x, y) => ((x + y) % 2 === 0 ? [200, 200, 200] : [100, 100, 100]));
    expect(new Set(strip)).toEqual(new Set([150]));
    const dark = paint((x, y) => (x >= 4 && x < 6 && y >= 20 && y < 22 ? [0, 0, 0] : [90, 90, 90]));
    expect(dark.findIndex((v) => v === 0)).toBe(10 * STRIP.width + 2);
  });
});

describe('why there is no camera', () => {
  test.each([
    ['NotAllowedError', 'denied'], ['NotFoundError', 'none'], ['OverconstrainedError', 'none'], ['NotReadableError', 'busy'],
    ['SecurityError', 'insecure'], ['SomethingNew', 'stopped'],
  ])('%s is %s', (name, want) => expect(troubleOf(Object.assign(new Error(), { name }))).toBe(want));
  test.each([undefined, null, 7, 'text'])('%j is told as stopped', (x) => expect(troubleOf(x)).toBe('stopped'));

  afterEach(() => vi.unstubAllGlobals());
  test('a browser without cameras', async () => {
    vi.stubGlobal('navigator', {});
    vi.stubGlobal('isSecureContext', true);
    await expect(openCamera()).rejects.toMatchObject({ trouble: 'none' });
    vi.stubGlobal('isSecureContext', false);
    await expect(openCamera()).rejects.toMatchObject({ trouble: 'insecure' });
  });
  test('a refusal is a CameraFault', async () => {
    vi.stubGlobal('navigator', { mediaDevices: { getUserMedia: () => Promise.reject(Object.assign(new Error('no'), { name: 'NotAllowedError' })) } });
    await expect(openCamera()).rejects.toBeInstanceOf(CameraFault);
  });
});

/** A worker whose answers the test gives. */
class ByHand implements EyeWorker {
  asked: ToWorker[] = [];
  ended = false;
  onmessage: ((event: MessageEvent<FromWorker>) => void) | null = null;
  onerror: ((event: ErrorEvent) => void) | null = null;
  postMessage(message: ToWorker): void {
    this.asked.push(message);
  }
  terminate(): void {
    this.ended = true;
  }
  say(data: FromWorker): void {
    this.onmessage?.({ data } as MessageEvent<FromWorker>);
  }
}

function counting() {
  const worker = new ByHand();
  const told = { drops: 0, sights: [] as Sight[], troubles: [] as string[] };
  const counter = new Counter(worker, {
    region: { x: 0, y: 0, width: 1, height: 1 },
    onDrop: () => told.drops++,
    onSight: (s) => told.sights.push(s),
    onTrouble: (t) => told.troubles.push(t),
  });
  const give = (n = 1) => {
    for (let i = 0; i < n; i++) counter.give(i, new Uint8Array(STRIP.width * STRIP.height));
  };
  return { worker, counter, told, give };
}

describe('counting', () => {
  test('each new drop is told once', () => {
    const { worker, told, give } = counting();
    worker.say({ ready: true });
    give(4);
    for (const count of [0, 1, 1, 3]) worker.say({ view: 0, count, confidence: 0.9, state: 'watching' });
    expect(told.drops).toBe(3);
    expect(told.sights.at(-1)).toEqual({ count: 3, confidence: 0.9, state: 'watching' });
  });

  test('no strips before the worker is ready, nor far ahead of it', () => {
    const { worker, counter, give } = counting();
    expect(counter.free).toBe(false);
    worker.say({ ready: true });
    give(6);
    expect(counter.free).toBe(false);
    worker.say({ view: 0, count: 0, confidence: 0, state: 'starting' });
    expect(counter.free).toBe(true);
  });

  test('another view begins at nothing, and late answers to the old one do not count', () => {
    const { worker, counter, told, give } = counting();
    worker.say({ ready: true });
    give(3);
    worker.say({ view: 0, count: 2, confidence: 0.9, state: 'watching' });
    counter.reset();
    worker.say({ view: 0, count: 5, confidence: 0.9, state: 'watching' });
    expect(told.drops).toBe(2);
    worker.say({ view: 1, count: 1, confidence: 0.9, state: 'a new word' });
    expect(told.drops).toBe(3);
    expect(told.sights.at(-1)).toEqual({ count: 3, confidence: 0.9, state: 'starting' });
  });

  test('a worker that dies is told once, and nothing after it', () => {
    const { worker, counter, told } = counting();
    worker.say({ ready: true });
    worker.say({ dead: 'out of memory' });
    worker.say({ view: 0, count: 9, confidence: 1, state: 'watching' });
    worker.onerror?.({} as ErrorEvent);
    expect(told).toEqual({ drops: 0, sights: [], troubles: ['stopped'] });
    expect(worker.ended).toBe(true);
    expect(counter.free).toBe(false);
  });
});

describe('the trunk\'s side', () => {
  type FrameDoor = { brimline(name: string, input: string): string; brimlineFrame(id: unknown, tMS: unknown, strip: unknown): unknown };
  const load = async () => {
    const worker = new InProcessWorker();
    await new Promise<void>((done) => {
      worker.onmessage = () => done();
      worker.postMessage({ id: 1, name: 'abi', input: '{}' });
    });
    return globalThis as unknown as FrameDoor;
  };

  /** A still surface with a dark blob at a row. */
  const strip = (row: number | undefined) =>
    Uint8Array.from({ length: STRIP.width * STRIP.height }, (_, i) => {
      const [x, y] = [i % STRIP.width, Math.floor(i / STRIP.width)];
      const drop = row !== undefined && Math.abs(y - row) < 4 && Math.abs(x - 12) < 2;
      return drop ? 40 : 118 + ((i * 7919 + (row ?? 0) * 31) % 5);
    });

  test('counts drops, gives their times once, and closes', async () => {
    const door = await load();
    const opened = JSON.parse(door.brimline('dripcam-open', '{}')) as { ok: { id: number; width: number; height: number } };
    expect(opened.ok).toMatchObject(STRIP);
    const { id } = opened.ok;
    let last: unknown;
    for (let n = 0; n < 240; n++) {
      const t = (n * 100) / 3;
      const s = ((t % 1000) - 400) / 1000; // one drop a second, falling from the upper edge
      const row = s > 0 && s < 0.2 ? 96 * (s / 0.15) ** 2 : undefined;
      last = door.brimlineFrame(id, t, strip(row));
    }
    const [count, confidence, state] = last as [number, number, string];
    expect(count).toBe(8);
    expect(confidence).toBeGreaterThan(0.7);
    expect(state).toBe('watching');
    const told = JSON.parse(door.brimline('dripcam-frame', JSON.stringify({ id }))) as { ok: { count: number; drops: { at_ms: number }[] } };
    expect(told.ok.drops.length).toBe(8);
    for (const [i, drop] of told.ok.drops.entries()) expect(Math.abs(drop.at_ms - (i * 1000 + 400 + 106))).toBeLessThan(40);
    expect(JSON.parse(door.brimline('dripcam-frame', JSON.stringify({ id }))).ok.drops).toEqual([]);
    expect(JSON.parse(door.brimline('dripcam-close', JSON.stringify({ id }))).ok).toEqual({ id });
    expect(door.brimlineFrame(id, 9e3, strip(undefined))).toBe('dripcam.unknown');
    expect(JSON.parse(door.brimline('dripcam-close', JSON.stringify({ id }))).error.code).toBe('dripcam.unknown');
  });

  test('refuses what is no frame, and at most four cameras', async () => {
    const door = await load();
    const ids: number[] = [];
    for (let n = 0; n < 4; n++) ids.push(JSON.parse(door.brimline('dripcam-open', '{}')).ok.id);
    expect(JSON.parse(door.brimline('dripcam-open', '{}')).error.code).toBe('dripcam.many');
    const id = ids[0];
    expect(door.brimlineFrame(id, 0, new Uint8Array(5))).toBe('dripcam.strip');
    expect(door.brimlineFrame(id, Number.NaN, strip(undefined))).toBe('dripcam.time');
    expect(door.brimlineFrame(id, Infinity, strip(undefined))).toBe('dripcam.time');
    expect(door.brimlineFrame(id, 0, 'text')).toBe('call.form');
    expect(door.brimlineFrame('x', 0, strip(undefined))).toBe('call.form');
    expect(door.brimlineFrame(id, 0, [1, 2])).toBe('call.form');
    for (const open of ids) door.brimline('dripcam-close', JSON.stringify({ id: open }));
  });
});

/**
 * The phone's camera as an eye on the dripping plug. A frame is reduced to a small
 * grey strip of the chosen region the moment it is shown; the strip goes to the
 * detector in a worker, and nothing of a picture is kept or sent anywhere.
 */
import { trustedScript } from './trusted';
import workerURL from './dripworker.ts?worker&url';

/** The detector's strip in pixels; the trunk refuses any other. */
export const STRIP = { width: 24, height: 96 } as const;

/** A box in shares of the picture, 0-1, from its upper left corner. */
export interface Region {
  x: number;
  y: number;
  width: number;
  height: number;
}

export type EyeState = 'starting' | 'watching' | 'moving' | 'too_dark' | 'too_fast';

/** Why there is no camera: refused, none there, used by another app, not allowed on this page, or it ended. */
export type CameraTrouble = 'denied' | 'none' | 'busy' | 'insecure' | 'stopped';

export type ToWorker = { view: number; tMS: number; strip: Uint8Array } | { reset: true };
export type FromWorker = { ready: true } | { dead: string } | { view: number; count: number; confidence: number; state: string };

export class CameraFault extends Error {
  readonly trouble: CameraTrouble;

  constructor(trouble: CameraTrouble, message = '') {
    super(message === '' ? trouble : message);
    this.name = 'CameraFault';
    this.trouble = trouble;
  }
}

/** What the platform's refusal means. */
export function troubleOf(x: unknown): CameraTrouble {
  if (x instanceof CameraFault) return x.trouble;
  const name = typeof x === 'object' && x !== null && 'name' in x ? String(x.name) : '';
  switch (name) {
    case 'NotAllowedError':
      return 'denied';
    case 'SecurityError':
      return 'insecure';
    case 'NotFoundError':
    case 'OverconstrainedError':
    case 'DevicesNotFoundError':
      return 'none';
    case 'NotReadableError':
    case 'AbortError':
    case 'TrackStartError':
      return 'busy';
  }
  return 'stopped';
}

/** The camera on the phone's back, small and quick rather than sharp. Rejects with a CameraFault. */
export async function openCamera(): Promise<MediaStream> {
  const devices = (navigator as { mediaDevices?: MediaDevices }).mediaDevices;
  if (devices === undefined) throw new CameraFault(globalThis.isSecureContext ? 'none' : 'insecure');
  try {
    return await devices.getUserMedia({
      audio: false,
      video: { facingMode: { ideal: 'environment' }, width: { ideal: 640 }, height: { ideal: 480 }, frameRate: { ideal: 30, max: 60 } },
    });
  } catch (x) {
    throw new CameraFault(troubleOf(x), String(x));
  }
}

export function closeCamera(stream: MediaStream | undefined): void {
  for (const track of stream?.getTracks() ?? []) track.stop();
}

/** The smallest box in pixels of the picture; below it a drop has no room to be seen falling. */
const LEAST = { width: 24, height: 64 } as const;

/**
 * The box as whole pixels of a picture, inside it and not too small. It is at least a
 * fifth as wide as high: the detector needs still surface on both sides of the drops.
 */
export function pixelsOf(region: Region, width: number, height: number): Region {
  const clean = (v: number, otherwise: number) => (Number.isFinite(v) ? v : otherwise);
  const high = Math.round(Math.min(height, Math.max(LEAST.height, clean(region.height, 1) * height)));
  const wide = Math.round(Math.min(width, Math.max(LEAST.width, high / 5, clean(region.width, 1) * width)));
  const middle = (clean(region.x, 0) + clean(region.width, 1) / 2) * width;
  const x = Math.round(Math.min(width - wide, Math.max(0, middle - wide / 2)));
  const y = Math.round(Math.min(height - high, Math.max(0, clean(region.y, 0) * height)));
  return { x, y, width: wide, height: high };
}

/** Twice the strip's size: the browser's own scaling does the rest, and skips fewer pixels. */
const FINE = 2;

/** Averages FINE by FINE pixels of RGBA into one grey level each (luma of ITU-R BT.601). */
export function greyStrip(rgba: Uint8ClampedArray): Uint8Array<ArrayBuffer> {
  const out = new Uint8Array(STRIP.width * STRIP.height);
  const rowBytes = STRIP.width * FINE * 4;
  for (let y = 0; y < STRIP.height; y++) {
    for (let x = 0; x < STRIP.width; x++) {
      let sum = 0;
      for (let dy = 0; dy < FINE; dy++) {
        for (let dx = 0; dx < FINE; dx++) {
          const at = (y * FINE + dy) * rowBytes + (x * FINE + dx) * 4;
          sum += 77 * (rgba[at] ?? 0) + 150 * (rgba[at + 1] ?? 0) + 29 * (rgba[at + 2] ?? 0);
        }
      }
      out[y * STRIP.width + x] = (sum / (256 * FINE * FINE) + 0.5) | 0;
    }
  }
  return out;
}

/** Reduces what a video shows to a strip of the region. */
export class StripMaker {
  readonly #context: OffscreenCanvasRenderingContext2D | CanvasRenderingContext2D;

  constructor() {
    const [width, height] = [STRIP.width * FINE, STRIP.height * FINE];
    const settings: CanvasRenderingContext2DSettings = { willReadFrequently: true, alpha: false };
    const context =
      typeof OffscreenCanvas === 'undefined'
        ? Object.assign(document.createElement('canvas'), { width, height }).getContext('2d', settings)
        : new OffscreenCanvas(width, height).getContext('2d', settings);
    if (context === null) throw new CameraFault('stopped', 'this browser draws no pictures');
    context.imageSmoothingEnabled = true;
    context.imageSmoothingQuality = 'medium';
    this.#context = context;
  }

  strip(video: HTMLVideoElement, region: Region): Uint8Array<ArrayBuffer> {
    const box = pixelsOf(region, video.videoWidth, video.videoHeight);
    const [width, height] = [STRIP.width * FINE, STRIP.height * FINE];
    this.#context.drawImage(video, box.x, box.y, box.width, box.height, 0, 0, width, height);
    return greyStrip(this.#context.getImageData(0, 0, width, height).data);
  }
}

/** What the detector says after a frame. */
export interface Sight {
  count: number;
  /** 0-1: how far the count can be trusted. */
  confidence: number;
  state: EyeState;
}

export interface EyeSettings {
  region: Region;
  /** Once for each drop, at most 0.3 s after it fell. */
  onDrop(): void;
  /** After every frame. */
  onSight(sight: Sight): void;
  onTrouble(trouble: CameraTrouble): void;
}

export interface Eye {
  /** Looks elsewhere from the next frame on. The count goes on; what is falling now is lost. */
  look(region: Region): void;
  stop(): void;
}

/** What the eye needs of a Worker. */
export interface EyeWorker {
  postMessage(message: ToWorker, transfer?: Transferable[]): void;
  terminate(): void;
  onmessage: ((event: MessageEvent<FromWorker>) => void) | null;
  onerror: ((event: ErrorEvent) => void) | null;
}

export const makeEyeWorker = (): EyeWorker =>
  new Worker(trustedScript(workerURL), { type: 'module', name: 'drip camera' }) as unknown as EyeWorker;

/** Strips the worker may be behind; a phone that cannot keep up skips frames, which the detector bears. */
const MOST_WAITING = 6;

const STATES: readonly string[] = ['starting', 'watching', 'moving', 'too_dark', 'too_fast'];
const isState = (text: string): text is EyeState => STATES.includes(text);

/** Counts the answers of the worker into drops. Apart from the camera, so that it can be tried without one. */
export class Counter {
  #worker: EyeWorker;
  #settings: EyeSettings;
  #waiting = 0;
  #seen = 0;
  #view = 0;
  #total = 0;
  #ready = false;
  #over = false;

  constructor(worker: EyeWorker, settings: EyeSettings) {
    this.#worker = worker;
    this.#settings = settings;
    worker.onmessage = ({ data }) => this.#take(data);
    worker.onerror = () => this.#end();
  }

  /** Whether another strip may be made now. */
  get free(): boolean {
    return this.#ready && !this.#over && this.#waiting < MOST_WAITING;
  }

  give(tMS: number, strip: Uint8Array<ArrayBuffer>): void {
    this.#waiting++;
    this.#worker.postMessage({ view: this.#view, tMS, strip }, [strip.buffer]);
  }

  /** Begins anew with another view; answers to the old one are passed over. */
  reset(): void {
    this.#view++;
    this.#seen = 0;
    this.#worker.postMessage({ reset: true });
  }

  stop(): void {
    this.#over = true;
    this.#worker.onmessage = null;
    this.#worker.terminate();
  }

  #take(data: FromWorker): void {
    if (this.#over) return;
    if ('dead' in data) return this.#end();
    if ('ready' in data) {
      this.#ready = true;
      return;
    }
    this.#waiting--;
    if (data.view !== this.#view) return;
    for (; this.#seen < data.count; this.#seen++) {
      this.#total++;
      this.#settings.onDrop();
    }
    this.#settings.onSight({ count: this.#total, confidence: data.confidence, state: isState(data.state) ? data.state : 'starting' });
  }

  #end(): void {
    if (this.#over) return;
    this.stop();
    this.#settings.onTrouble('stopped');
  }
}

/**
 * Watches the region of a playing video. The times are those of the frames, not of
 * this thread, so a busy screen costs frames at worst, never accuracy.
 */
export function watch(video: HTMLVideoElement, settings: EyeSettings, makeWorker: () => EyeWorker = makeEyeWorker): Eye {
  const maker = new StripMaker();
  const counter = new Counter(makeWorker(), settings);
  let region = settings.region;
  let over = false;
  let lastMS = -1;

  function see(tMS: number): void {
    if (tMS <= lastMS || !counter.free || video.videoWidth === 0) return;
    lastMS = tMS;
    counter.give(tMS, maker.strip(video, region));
  }

  const ended = () => {
    if (!over) settings.onTrouble('stopped');
  };
  const stream = video.srcObject instanceof MediaStream ? video.srcObject : undefined;
  for (const track of stream?.getVideoTracks() ?? []) track.addEventListener('ended', ended);

  const cancel = eachFrame(video, see);
  return {
    look(elsewhere) {
      region = elsewhere;
      counter.reset();
    },
    stop() {
      over = true;
      cancel();
      counter.stop();
      for (const track of stream?.getVideoTracks() ?? []) track.removeEventListener('ended', ended);
    },
  };
}

/** Calls back for each frame with its time in ms; returns what ends it. */
function eachFrame(video: HTMLVideoElement, see: (tMS: number) => void): () => void {
  let over = false;
  if ('requestVideoFrameCallback' in HTMLVideoElement.prototype) {
    let handle = 0;
    const next = (_now: number, frame: VideoFrameCallbackMetadata) => {
      if (over) return;
      see(frame.mediaTime * 1000);
      handle = video.requestVideoFrameCallback(next);
    };
    handle = video.requestVideoFrameCallback(next);
    return () => {
      over = true;
      video.cancelVideoFrameCallback(handle);
    };
  }
  // Older browsers: look at every repaint whether the picture is a new one.
  let shown = -1;
  const look = () => {
    if (over) return;
    if (video.currentTime !== shown) {
      shown = video.currentTime;
      see(shown * 1000);
    }
    requestAnimationFrame(look);
  };
  requestAnimationFrame(look);
  return () => {
    over = true;
  };
}

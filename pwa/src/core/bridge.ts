/**
 * The caller's side of the worker: typed questions, typed faults, and a fresh worker
 * when one has died. Nothing is lost with a dead worker, because it remembers nothing.
 */
import { Fault } from './fault';

export interface Question {
  id: number;
  name: string;
  input: string;
}

/** `dead` says that the worker can answer nothing any more; id 0 is nobody's question. */
export interface Answer {
  id: number;
  out?: string;
  dead?: string;
}

/** What the bridge needs of a Worker. */
export interface WorkerLike {
  postMessage(question: Question): void;
  terminate(): void;
  onmessage: ((event: MessageEvent<Answer>) => void) | null;
  onerror: ((event: ErrorEvent) => void) | null;
}

/** The door's version that this JavaScript was written for. */
export const ABI = 1;

/** A call that takes longer is given up and the worker replaced: nothing computed here may take so long. */
const CALL_LIMIT_MS = 20_000;

interface Waiting {
  question: Question;
  timer: ReturnType<typeof setTimeout>;
  done(out: string): void;
  failed(fault: Fault): void;
}

export interface Core {
  /** Asks the trunk. Rejects with its fault, or with `core.stopped` when two workers in a row died over it. */
  call<T>(name: string, input: unknown): Promise<T>;
  /** Loads the trunk, so that the first call finds it ready. */
  warm(): Promise<void>;
  /** The physics version of the loaded trunk. */
  physics(): Promise<string>;
}

export function createCore(makeWorker: () => WorkerLike): Core {
  let worker: WorkerLike | undefined;
  let checked: Promise<string> | undefined;
  let lastID = 0;
  const waiting = new Map<number, Waiting>();

  /** Ends the worker and every question put to it; each asker decides whether to ask again. */
  function bury(reason: string): void {
    worker?.terminate();
    worker = undefined;
    checked = undefined;
    const orphans = [...waiting.values()];
    waiting.clear();
    for (const orphan of orphans) {
      clearTimeout(orphan.timer);
      orphan.failed(new Fault('core.stopped', '', reason));
    }
  }

  function take(answer: Answer): void {
    if (answer.dead !== undefined) return bury(answer.dead);
    const asked = waiting.get(answer.id);
    if (asked === undefined) return;
    waiting.delete(answer.id);
    clearTimeout(asked.timer);
    asked.done(answer.out ?? '');
  }

  function living(): WorkerLike {
    if (worker !== undefined) return worker;
    const born = makeWorker();
    born.onmessage = (event) => {
      if (born === worker) take(event.data);
    };
    born.onerror = (event) => {
      if (born === worker) bury(event.message || 'the worker could not be loaded');
    };
    worker = born;
    return born;
  }

  function ask(name: string, input: string): Promise<string> {
    return new Promise((done, failed) => {
      const question = { id: ++lastID, name, input };
      const timer = setTimeout(() => bury(`${name} took longer than ${CALL_LIMIT_MS / 1000} s`), CALL_LIMIT_MS);
      waiting.set(question.id, { question, timer, done, failed });
      living().postMessage(question);
    });
  }

  /** The version handshake of the living worker, made once. */
  function handshake(): Promise<string> {
    checked ??= ask('abi', '{}').then((text) => {
      const { abi, physics } = unwrap<{ abi: number; physics: string }>(text);
      if (abi !== ABI) throw new Fault('core.version', 'abi', `the engine speaks version ${abi}, the app ${ABI}; reload the app`);
      return physics;
    });
    return checked;
  }

  async function once<T>(name: string, input: string): Promise<T> {
    await handshake();
    return unwrap<T>(await ask(name, input));
  }

  return {
    async call<T>(name: string, input: unknown): Promise<T> {
      const text = JSON.stringify(input);
      try {
        return await once<T>(name, text);
      } catch (x) {
        if (!(x instanceof Fault) || x.code !== 'core.stopped') throw x;
        return once<T>(name, text); // a fresh worker gets one try
      }
    },
    warm: async () => void (await handshake()),
    physics: handshake,
  };
}

/** Takes apart the door's envelope. The bare answer of `abi` has none. */
export function unwrap<T>(text: string): T {
  let envelope: unknown;
  try {
    envelope = JSON.parse(text);
  } catch {
    throw new Fault('core.garbled', '', 'the engine gave an unreadable answer');
  }
  if (typeof envelope !== 'object' || envelope === null) throw new Fault('core.garbled');
  if ('error' in envelope) {
    const error = envelope.error as { code?: string; field?: string; message?: string };
    throw new Fault(error.code ?? 'internal', error.field ?? '', error.message ?? '');
  }
  return ('ok' in envelope ? envelope.ok : envelope) as T;
}

/**
 * The real trunk in this thread, for tests under Node: what the worker does, without one.
 * Build it first: GOOS=js GOARCH=wasm go build -o pwa/src/core/brimline.wasm ./pwa/wasm,
 * with Go's lib/wasm/wasm_exec.js beside it (go run ./server/dev does both).
 */
import { readFileSync } from 'node:fs';
import { runInThisContext } from 'node:vm';
import type { Answer, Question, WorkerLike } from './bridge';

interface Door {
  Go: new () => { importObject: WebAssembly.Imports; run(instance: WebAssembly.Instance): Promise<void> };
  brimlineReady: () => void;
  brimline: (name: string, input: string) => string;
}

let ready: Promise<Door> | undefined;

async function load(): Promise<Door> {
  const here = import.meta.dirname;
  const door = globalThis as unknown as Door;
  runInThisContext(readFileSync(`${here}/wasm_exec.js`, 'utf8'));
  const program = new door.Go();
  const up = new Promise<void>((done) => {
    door.brimlineReady = done;
  });
  const module = await WebAssembly.compile(readFileSync(`${here}/brimline.wasm`));
  void program.run(await WebAssembly.instantiate(module, program.importObject));
  await up;
  return door;
}

export class InProcessWorker implements WorkerLike {
  onmessage: ((event: MessageEvent<Answer>) => void) | null = null;
  onerror: ((event: ErrorEvent) => void) | null = null;
  /** How many questions were put, the handshake included. */
  asked = 0;

  postMessage({ id, name, input }: Question): void {
    this.asked++;
    ready ??= load();
    void ready.then(
      (door) => this.#tell({ id, out: door.brimline(name, input) }),
      (x: unknown) => this.#tell({ id, dead: String(x) }),
    );
  }

  terminate(): void {
    this.onmessage = null;
  }

  #tell(data: Answer): void {
    this.onmessage?.({ data } as MessageEvent<Answer>);
  }
}

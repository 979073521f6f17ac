/**
 * The trunk on the phone: one WebAssembly program in a worker of its own, so that no
 * computation ever holds up a tap. It answers text with text and keeps nothing
 * between two calls.
 */
import './wasm_exec.js';
import wasmURL from './brimline.wasm?url';
import type { Answer, Question } from './bridge';

interface GoProgram {
  readonly importObject: WebAssembly.Imports;
  run(instance: WebAssembly.Instance): Promise<void>;
}

interface Door {
  Go: new () => GoProgram;
  brimlineReady: () => void;
  brimline: (name: string, input: string) => string;
}

declare const self: DedicatedWorkerGlobalScope;
const door = globalThis as unknown as Door;

/** Some servers and caches name the type of a wasm file wrongly; then the slower way in is taken. */
async function compile(imports: WebAssembly.Imports): Promise<WebAssembly.Instance> {
  const response = await fetch(wasmURL);
  if (!response.ok) throw new Error(`${wasmURL}: ${response.status}`);
  if (response.headers.get('content-type')?.startsWith('application/wasm') === true) {
    return (await WebAssembly.instantiateStreaming(response, imports)).instance;
  }
  return (await WebAssembly.instantiate(await response.arrayBuffer(), imports)).instance;
}

async function start(): Promise<void> {
  const program = new door.Go();
  const up = new Promise<void>((done) => {
    door.brimlineReady = done;
  });
  const instance = await compile(program.importObject);
  // The program runs until it dies; when it does, every later call must be refused.
  void program.run(instance).then(
    () => self.postMessage({ id: 0, dead: 'the engine ended' } satisfies Answer),
    (x: unknown) => self.postMessage({ id: 0, dead: String(x) } satisfies Answer),
  );
  await up;
}

const ready = start();
ready.catch((x: unknown) => self.postMessage({ id: 0, dead: String(x) } satisfies Answer));

self.addEventListener('message', (message: MessageEvent<Question>) => {
  const { id, name, input } = message.data;
  ready
    .then(() => self.postMessage({ id, out: door.brimline(name, input) } satisfies Answer))
    .catch((x: unknown) => self.postMessage({ id, dead: String(x) } satisfies Answer));
});

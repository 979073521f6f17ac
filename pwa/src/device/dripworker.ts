/**
 * The drip camera's own copy of the trunk: frames are never held up by a long
 * computation of the check, and a page that needs no camera pays nothing. It
 * takes strips of grey levels, answers with the count, and keeps no picture.
 */
import '../core/wasm_exec.js';
import wasmURL from '../core/brimline.wasm?url';
import type { FromWorker, ToWorker } from './camera';

interface Door {
  Go: new () => { readonly importObject: WebAssembly.Imports; run(instance: WebAssembly.Instance): Promise<void> };
  brimlineReady: () => void;
  brimline: (name: string, input: string) => string;
  brimlineFrame: (id: number, tMS: number, strip: Uint8Array) => [count: number, confidence: number, state: string] | string;
}

interface Port {
  postMessage(message: FromWorker): void;
  onmessage: ((event: MessageEvent<ToWorker>) => void) | null;
}

const door = globalThis as unknown as Door;
const port = globalThis as unknown as Port;

async function start(): Promise<void> {
  const program = new door.Go();
  const up = new Promise<void>((done) => {
    door.brimlineReady = done;
  });
  const response = await fetch(wasmURL);
  if (!response.ok) throw new Error(`${wasmURL}: ${response.status}`);
  const { instance } = await WebAssembly.instantiate(await response.arrayBuffer(), program.importObject);
  void program.run(instance).then(
    () => port.postMessage({ dead: 'the engine ended' }),
    (x: unknown) => port.postMessage({ dead: String(x) }),
  );
  await up;
}

/** Opens a detector; its number. */
function open(): number {
  const answer = JSON.parse(door.brimline('dripcam-open', '{}')) as { ok?: { id: number }; error?: { code: string } };
  if (answer.ok === undefined) throw new Error(answer.error?.code ?? 'dripcam-open gave nothing');
  return answer.ok.id;
}

let id = 0;
const ready = start().then(() => {
  id = open();
});
ready.then(() => port.postMessage({ ready: true }), (x: unknown) => port.postMessage({ dead: String(x) }));

port.onmessage = ({ data }) => {
  ready
    .then(() => {
      if ('reset' in data) {
        door.brimline('dripcam-close', JSON.stringify({ id }));
        id = open();
        return;
      }
      const found = door.brimlineFrame(id, data.tMS, data.strip);
      if (typeof found === 'string') throw new Error(found);
      const [count, confidence, state] = found;
      port.postMessage({ view: data.view, count, confidence, state });
    })
    .catch((x: unknown) => port.postMessage({ dead: String(x) }));
};

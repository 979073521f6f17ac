import { describe, expect, test } from 'vitest';
import chain from '../../../testdata/sync/chain.json';
import { createCore, unwrap, type Answer, type Question, type WorkerLike } from './bridge';
import { Fault } from './fault';
import { InProcessWorker } from './inprocess';

/** A worker that dies over its first question. */
class DyingWorker implements WorkerLike {
  onmessage: ((event: MessageEvent<Answer>) => void) | null = null;
  onerror: ((event: ErrorEvent) => void) | null = null;
  ended = false;
  postMessage({ id }: Question): void {
    queueMicrotask(() => this.onmessage?.({ data: { id, dead: 'out of memory' } } as MessageEvent<Answer>));
  }
  terminate(): void {
    this.ended = true;
  }
}

async function faultOf(work: Promise<unknown>): Promise<Fault> {
  const x = await work.then(() => undefined, (fault: unknown) => fault);
  if (!(x instanceof Fault)) throw new Error(`got ${String(x)}, want a fault`);
  return x;
}

describe('the trunk', () => {
  test('computes', async () => {
    const core = createCore(() => new InProcessWorker());
    const { head } = await core.call<{ head: string }>('verify-chain', { events: chain.events });
    expect(head).toMatch(/^[0-9a-f]{64}$/);
  });

  test('a changed event is found, with code and message', async () => {
    const core = createCore(() => new InProcessWorker());
    const changed = chain.events.map((event, i) => (i === 1 ? { ...event, wall_ms: event.wall_ms + 1 } : event));
    const fault = await faultOf(core.call('verify-chain', { events: changed }));
    expect([fault.code, fault.field]).toEqual(['event.chain', 'events']);
    expect(fault.message).not.toBe('');
  });

  test('an unknown computation is a fault, and the next call still works', async () => {
    const core = createCore(() => new InProcessWorker());
    expect((await faultOf(core.call('no-such-thing', {}))).code).not.toBe('core.stopped');
    await core.warm();
  });
});

describe('a worker that dies', () => {
  test('is replaced and the question put again', async () => {
    const made: WorkerLike[] = [];
    const core = createCore(() => {
      const worker = made.length === 0 ? new DyingWorker() : new InProcessWorker();
      made.push(worker);
      return worker;
    });
    await core.call('verify-chain', { events: chain.events });
    expect(made.length).toBe(2);
    expect((made[0] as DyingWorker).ended).toBe(true);
  });

  test('twice in a row is told, not tried for ever', async () => {
    let made = 0;
    const core = createCore(() => {
      made++;
      return new DyingWorker();
    });
    expect((await faultOf(core.call('verify-chain', { events: [] }))).code).toBe('core.stopped');
    expect(made).toBe(2);
  });
});

test('a trunk of another version is refused', async () => {
  class OldWorker extends DyingWorker {
    override postMessage({ id }: Question): void {
      queueMicrotask(() => this.onmessage?.({ data: { id, out: '{"ok":{"abi":0,"physics":"0"}}' } } as MessageEvent<Answer>));
    }
  }
  const core = createCore(() => new OldWorker());
  expect((await faultOf(core.warm())).code).toBe('core.version');
});

describe('the envelope', () => {
  test.each([
    ['{"ok":{"a":1}}', { a: 1 }],
    ['{"ok":null}', null],
    ['{"abi":1}', { abi: 1 }],
  ])('%s', (text, want) => expect(unwrap(text)).toEqual(want));

  test.each([
    ['', 'core.garbled'],
    ['7', 'core.garbled'],
    ['{"error":{}}', 'internal'],
    ['{"error":{"code":"x.y","field":"f","message":"m"}}', 'x.y'],
  ])('%s is a fault', (text, code) => {
    try {
      unwrap(text);
      expect.unreachable('no fault');
    } catch (x) {
      expect(x).toBeInstanceOf(Fault);
      expect((x as Fault).code).toBe(code);
    }
  });
});

/**
 * The real server with demo data in a folder of its own. It can be killed and
 * started again on the same port and the same data, as a machine would be.
 */
import { execFile, spawn } from 'node:child_process';
import { once } from 'node:events';
import { rmSync } from 'node:fs';
import { cp, mkdtemp, rm, writeFile } from 'node:fs/promises';
import { createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { promisify } from 'node:util';

const run = promisify(execFile);
export const root = fileURLToPath(new URL('../..', import.meta.url));
/** The built web app that is inside the server. */
export const app = join(root, 'pwa', 'dist', 'app');

/** The server's program: BRIMLINE_BIN, or built here once. */
let built;
export function binary() {
  built ??= process.env.BRIMLINE_BIN ?? build();
  return built;
}

async function build() {
  const folder = await mkdtemp(join(tmpdir(), 'brimline-bin-'));
  process.once('exit', () => rmSync(folder, { recursive: true, force: true }));
  const path = join(folder, process.platform === 'win32' ? 'brimline.exe' : 'brimline');
  await run('go', ['build', '-o', path, './server'], { cwd: root, env: { ...process.env, CGO_ENABLED: '0' } });
  return path;
}

/** A server with other files of the web app inside; `files` maps their names to content, or to null for none. */
export async function binaryWith(t, files) {
  const folder = await mkdtemp(join(tmpdir(), 'brimline-other-'));
  t.after(() => rm(folder, { recursive: true, force: true }));
  const Replace = {};
  let count = 0;
  for (const [name, content] of Object.entries(files)) {
    const path = content === null ? '' : join(folder, `file-${count++}`);
    if (content !== null) await writeFile(path, content);
    Replace[join(app, name)] = path;
  }
  await writeFile(join(folder, 'overlay.json'), JSON.stringify({ Replace }));
  const bin = join(folder, 'brimline');
  await run('go', ['build', '-overlay', join(folder, 'overlay.json'), '-o', bin, './server'], { cwd: root, env: { ...process.env, CGO_ENABLED: '0' } });
  return bin;
}

async function freePort() {
  const probe = createServer().listen(0, '127.0.0.1');
  await once(probe, 'listening');
  const { port } = probe.address();
  probe.close();
  await once(probe, 'close');
  return port;
}

/** Demo data is made once for all tests of a file, and copied for each. */
let seeded;
async function seed() {
  const folder = await mkdtemp(join(tmpdir(), 'brimline-seed-'));
  process.once('exit', () => rmSync(folder, { recursive: true, force: true }));
  const server = new Server(folder, await freePort(), { env: { BRIMLINE_DEMO: 'true' } });
  await server.start();
  await server.stop();
  return folder;
}

/** Starts a server with demo data; killed and cleared when the test ends. */
export async function serve(t, options = {}) {
  seeded ??= seed();
  const folder = await mkdtemp(join(tmpdir(), 'brimline-data-'));
  await cp(await seeded, folder, { recursive: true });
  const server = new Server(folder, await freePort(), options);
  t?.after(async () => {
    await server.kill();
    await rm(folder, { recursive: true, force: true });
  });
  await server.start();
  return server;
}

class Server {
  #child;
  log = '';

  constructor(folder, port, { bin, env = {} }) {
    this.folder = folder;
    this.port = port;
    this.bin = bin;
    this.env = env;
    this.url = `http://127.0.0.1:${port}`;
  }

  get running() {
    return this.#child !== undefined;
  }

  async start() {
    const child = spawn(this.bin ?? (await binary()), ['serve'], {
      env: { ...process.env, BRIMLINE_DATA: this.folder, BRIMLINE_ADDR: `127.0.0.1:${this.port}`, ...this.env },
      stdio: ['ignore', 'pipe', 'pipe'],
    });
    this.#child = child;
    for (const stream of [child.stdout, child.stderr]) stream.on('data', (text) => (this.log += text));
    child.once('exit', () => {
      if (this.#child === child) this.#child = undefined;
    });
    for (let tries = 0; tries < 200; tries++) {
      const answer = await fetch(`${this.url}/api/v1/health`).catch(() => undefined);
      if (answer?.ok) return;
      if (this.#child === undefined) break;
      await new Promise((done) => setTimeout(done, 50));
    }
    throw new Error(`the server did not start:\n${this.log}`);
  }

  /** SIGKILL: no goodbye to anybody. */
  async kill() {
    const child = this.#child;
    if (child === undefined) return;
    const gone = once(child, 'exit');
    child.kill('SIGKILL');
    await gone;
  }

  /** SIGTERM, and time to end. */
  async stop() {
    const child = this.#child;
    if (child === undefined) return;
    const gone = once(child, 'exit');
    child.kill('SIGTERM');
    await gone;
  }

  /** One request to the API; returns status, headers and the parsed body. */
  async ask(method, path, { token, body, type = 'application/json' } = {}) {
    const headers = { ...(body === undefined ? {} : { 'content-type': type }), ...(token === undefined ? {} : { authorization: `Bearer ${token}` }) };
    const answer = await fetch(this.url + path, { method, headers, body: body === undefined || typeof body === 'string' ? body : JSON.stringify(body) });
    const text = await answer.text();
    let parsed;
    try {
      parsed = JSON.parse(text);
    } catch {
      parsed = undefined;
    }
    return { status: answer.status, type: answer.headers.get('content-type') ?? '', body: parsed, text };
  }

  /** One computation by the server's own command. */
  async compute(name, input) {
    const child = spawn(this.bin ?? (await binary()), ['compute', name], { stdio: ['pipe', 'pipe', 'pipe'] });
    let out = '';
    let bad = '';
    child.stdout.on('data', (text) => (out += text));
    child.stderr.on('data', (text) => (bad += text));
    child.stdin.end(`${JSON.stringify(input)}\n`);
    const [code] = await once(child, 'close');
    if (code !== 0) throw new Error(`compute ${name}: ${bad}${out}`);
    return JSON.parse(out);
  }
}

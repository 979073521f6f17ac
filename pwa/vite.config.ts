import { svelte } from '@sveltejs/vite-plugin-svelte';
import { createHash } from 'node:crypto';
import { readdir, readFile, rm, writeFile } from 'node:fs/promises';
import { join, relative } from 'node:path';
import { promisify } from 'node:util';
import { brotliCompress, constants, gzip } from 'node:zlib';
import { build, type Plugin } from 'vite';
import { defineConfig } from 'vitest/config';

/** The server sends these ready-made; other files are already compressed. */
const COMPRESSIBLE = /\.(?:html|js|css|wasm|svg|json|webmanifest|txt)$/;
const MADE = /\.(?:br|gz)$/;

async function filesUnder(folder: string): Promise<string[]> {
  const found = await readdir(folder, { recursive: true, withFileTypes: true });
  return found.filter((entry) => entry.isFile()).map((entry) => join(entry.parentPath, entry.name)).sort();
}

const sha256 = (bytes: Uint8Array): string => createHash('sha256').update(bytes).digest('hex');

/**
 * After the app: lists every file with its SHA-256 and builds the service worker with that
 * list compiled in. The worker stores all of it or nothing.
 */
async function writeServiceWorker(folder: string): Promise<void> {
  const list: [url: string, sum: string][] = [];
  for (const file of await filesUnder(folder)) {
    if (MADE.test(file) || file.endsWith('.map') || file === join(folder, 'sw.js')) continue;
    const url = `/${relative(folder, file).replaceAll('\\', '/')}`;
    list.push([url === '/index.html' ? '/' : url, sha256(await readFile(file))]);
  }
  const name = sha256(Buffer.from(JSON.stringify(list))).slice(0, 12);
  const built = await build({
    configFile: false,
    publicDir: false,
    logLevel: 'warn',
    define: { __FILES__: JSON.stringify(list), __BUILD__: JSON.stringify(name) },
    build: { write: false, target: 'es2022', lib: { entry: 'src/sw/sw.ts', formats: ['iife'], name: 'sw' } },
  });
  const outputs = Array.isArray(built) ? built : [built];
  const first = outputs[0];
  const chunk = first !== undefined && 'output' in first ? first.output[0] : undefined;
  if (chunk === undefined) throw new Error('src/sw/sw.ts gave no output');
  await writeFile(join(folder, 'sw.js'), chunk.code);
}

/** Writes name.br and name.gz beside every compressible file, unless that would not be smaller. */
async function compress(folder: string): Promise<void> {
  const brotli = promisify(brotliCompress);
  const zip = promisify(gzip);
  for (const file of await filesUnder(folder)) {
    if (!COMPRESSIBLE.test(file)) continue;
    const bytes = await readFile(file);
    const params = {
      [constants.BROTLI_PARAM_QUALITY]: 11,
      [constants.BROTLI_PARAM_LGWIN]: 24,
      [constants.BROTLI_PARAM_SIZE_HINT]: bytes.length,
    };
    for (const [suffix, small] of [['.br', await brotli(bytes, { params })], ['.gz', await zip(bytes, { level: 9 })]] as const) {
      if (small.length < bytes.length) await writeFile(file + suffix, small);
      else await rm(file + suffix, { force: true });
    }
  }
}

function release(): Plugin {
  let folder = '';
  let wanted = false;
  return {
    name: 'brimline-release',
    apply: 'build',
    configResolved(config) {
      folder = config.build.outDir;
      wanted = config.mode !== 'test';
    },
    async closeBundle() {
      if (!wanted) return;
      await writeServiceWorker(folder);
      await compress(folder);
    },
  };
}

export default defineConfig(({ mode }) => ({
  plugins: [svelte({ configFile: false }), release()],
  worker: { format: 'es' },
  // Components run in the tests as they do in the browser.
  resolve: mode === 'test' ? { conditions: ['browser'] } : {},
  build: {
    target: 'es2022',
    outDir: 'dist/app',
    emptyOutDir: true,
    // Nothing is inlined: every file is listed, hashed and allowed by a strict content security policy.
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
  },
  server: { proxy: { '/api': 'http://127.0.0.1:8080' } },
  test: {
    environment: 'happy-dom',
    setupFiles: ['fake-indexeddb/auto'],
    include: ['src/**/*.test.ts'],
  },
}));

/**
 * Draws the icons: a plug hole seen from the side, its lip as a line, and one drop that
 * has just run over it. Writes public/icon.svg and the PNG files; no image library, the
 * shapes are sampled and the file is written by hand.
 */
import { writeFile } from 'node:fs/promises';
import { crc32, deflateSync } from 'node:zlib';

/** @typedef {readonly [red: number, green: number, blue: number]} RGB */

/** @type {RGB} */
const GROUND = [0x11, 0x20, 0x2b];
/** @type {RGB} */
const LIP = [0xf4, 0xef, 0xe4];
/** @type {RGB} */
const FLUID = [0xd9, 0x8e, 0x3a];

/** The drawing lives in a square of 100 units. */
const LIP_Y = 40;
const LIP_HALF = 4;
const LIP_LEFT = 14;
const LIP_RIGHT = 66;
const DROP = { x: 74, y: 66, radius: 13, tip: 38 };
/** Fluid stands behind the lip, up to its upper edge. */
const POOL = { left: LIP_LEFT, right: LIP_RIGHT, top: 26, bottom: LIP_Y - LIP_HALF };
const CORNER = 22;
/** A maskable icon may be cut to a circle of 80 of 100 units: the drawing is made smaller. */
const MASKABLE_SCALE = 0.72;
const SAMPLES = 4;

/**
 * @param {number} x
 * @param {number} y
 * @returns {boolean}
 */
function inDrop(x, y) {
  const { x: cx, y: cy, radius, tip } = DROP;
  if ((x - cx) ** 2 + (y - cy) ** 2 <= radius ** 2) return true;
  // From the tip down to where the straight flank touches the circle.
  const height = cy - tip;
  const touchY = cy - radius ** 2 / height;
  if (y < tip || y > touchY) return false;
  const halfAtTouch = (radius * Math.sqrt(height ** 2 - radius ** 2)) / height;
  return Math.abs(x - cx) <= (halfAtTouch * (y - tip)) / (touchY - tip);
}

/**
 * @param {number} x
 * @param {number} y
 * @param {number} radius
 * @returns {boolean}
 */
function inRounded(x, y, radius) {
  const dx = Math.max(radius - x, x - (100 - radius), 0);
  const dy = Math.max(radius - y, y - (100 - radius), 0);
  return dx ** 2 + dy ** 2 <= radius ** 2;
}

/**
 * @param {number} x
 * @param {number} y
 * @returns {boolean}
 */
function inLip(x, y) {
  if (Math.abs(y - LIP_Y) > LIP_HALF) return false;
  const dx = Math.max(LIP_LEFT + LIP_HALF - x, x - (LIP_RIGHT - LIP_HALF), 0);
  return dx ** 2 + (y - LIP_Y) ** 2 <= LIP_HALF ** 2;
}

/** @type {(x: number, y: number) => boolean} */
const inPool = (x, y) =>
  x >= POOL.left && x <= POOL.right && y >= POOL.top && y <= POOL.bottom;

/**
 * Colour and opacity of one point.
 * @param {number} x
 * @param {number} y
 * @param {boolean} maskable
 * @returns {readonly [RGB, number]}
 */
function paint(x, y, maskable) {
  const scale = maskable ? MASKABLE_SCALE : 1;
  const dx = (x - 50) / scale + 50;
  const dy = (y - 50) / scale + 50;
  if (inDrop(dx, dy)) return [FLUID, 1];
  if (inLip(dx, dy)) return [LIP, 1];
  if (inPool(dx, dy)) return [FLUID, 1];
  return [GROUND, maskable || inRounded(x, y, CORNER) ? 1 : 0];
}

/**
 * @param {number} size
 * @param {boolean} maskable
 * @returns {Buffer}
 */
function pixels(size, maskable) {
  const rows = Buffer.alloc(size * (1 + size * 4));
  let at = 0;
  for (let row = 0; row < size; row++) {
    rows[at++] = 0; // no filter
    for (let column = 0; column < size; column++) {
      const sum = [0, 0, 0, 0];
      for (let s = 0; s < SAMPLES * SAMPLES; s++) {
        const x = ((column + ((s % SAMPLES) + 0.5) / SAMPLES) * 100) / size;
        const y = ((row + (Math.floor(s / SAMPLES) + 0.5) / SAMPLES) * 100) / size;
        const [colour, opacity] = paint(x, y, maskable);
        for (const [i, part] of [...colour, 255].entries()) sum[i] = (sum[i] ?? 0) + part * opacity;
      }
      const alpha = (sum[3] ?? 0) / 255;
      for (let i = 0; i < 3; i++) rows[at++] = alpha === 0 ? 0 : Math.round((sum[i] ?? 0) / alpha);
      rows[at++] = Math.round((sum[3] ?? 0) / (SAMPLES * SAMPLES));
    }
  }
  return rows;
}

/**
 * One chunk of a PNG file: length, name, data, checksum (PNG, section 5.3).
 * @param {string} name
 * @param {Buffer} data
 * @returns {Buffer}
 */
function chunk(name, data) {
  const body = Buffer.concat([Buffer.from(name, 'latin1'), data]);
  const length = Buffer.alloc(4);
  length.writeUInt32BE(data.length);
  const sum = Buffer.alloc(4);
  sum.writeUInt32BE(crc32(body));
  return Buffer.concat([length, body, sum]);
}

/**
 * @param {number} size
 * @param {boolean} maskable
 * @returns {Buffer}
 */
function png(size, maskable) {
  const header = Buffer.alloc(13);
  header.writeUInt32BE(size, 0);
  header.writeUInt32BE(size, 4);
  header.set([8, 6, 0, 0, 0], 8); // 8 bits, red green blue opacity
  return Buffer.concat([
    Buffer.from([0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a]),
    chunk('IHDR', header),
    chunk('IDAT', deflateSync(pixels(size, maskable), { level: 9 })),
    chunk('IEND', Buffer.alloc(0)),
  ]);
}

/** @type {(colour: RGB) => string} */
const hex = (colour) => `#${colour.map((part) => part.toString(16).padStart(2, '0')).join('')}`;

/**
 * @returns {string}
 */
function svg() {
  const { x, y, radius, tip } = DROP;
  const height = y - tip;
  const touchY = y - radius ** 2 / height;
  const half = (radius * Math.sqrt(height ** 2 - radius ** 2)) / height;
  const drop = `M${x} ${tip}L${(x + half).toFixed(2)} ${touchY.toFixed(2)}A${radius} ${radius} 0 1 1 ${(x - half).toFixed(2)} ${touchY.toFixed(2)}Z`;
  return `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">
  <rect width="100" height="100" rx="${CORNER}" fill="${hex(GROUND)}"/>
  <rect x="${POOL.left}" y="${POOL.top}" width="${POOL.right - POOL.left}" height="${POOL.bottom - POOL.top}" fill="${hex(FLUID)}"/>
  <rect x="${LIP_LEFT}" y="${LIP_Y - LIP_HALF}" width="${LIP_RIGHT - LIP_LEFT}" height="${2 * LIP_HALF}" rx="${LIP_HALF}" fill="${hex(LIP)}"/>
  <path d="${drop}" fill="${hex(FLUID)}"/>
</svg>
`;
}

await writeFile('public/icon.svg', svg());
await writeFile('public/icon-192.png', png(192, false));
await writeFile('public/icon-512.png', png(512, false));
await writeFile('public/icon-maskable-512.png', png(512, true));

/** What is wrong is asked about or refused with a stable code, and nothing that is stored changes. */
import assert from 'node:assert/strict';
import { createPrivateKey, sign } from 'node:crypto';
import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { test } from 'node:test';
import { firstPage, open, profile } from './browser.mjs';
import { checkUpTo, openByHand } from './byhand.mjs';
import { MECHANIC, button, sidePlugVehicles, signedIn, stored, type } from './person.mjs';
import { serve } from './server.mjs';
import { format, words } from './words.mjs';

test('a reading of 95 where °C is expected asks and never guesses', { timeout: 90_000 }, async (t) => {
  const server = await serve(t);
  const page = await firstPage(await open(t, await profile(t)));
  await signedIn(page, server);
  const [vehicle] = await sidePlugVehicles(page);
  await openByHand(page, server);
  const id = await checkUpTo(page, vehicle, 'reading.taken');
  await page.goto(`${server.url}/check/${id}`);
  const readings = async () => (await stored(page, 'events')).events.filter((e) => e.check_id === id && e.event.kind === 'reading.taken').map((e) => e.event.body);
  const first = await readings();
  assert.equal(first.length, 1);

  const enter95 = async () => {
    await button(page, words.check.type).click();
    await type(page, '95');
    await button(page, words.check.keepReading(format.degreesOf(95, 'C'))).click();
    await page.getByRole('heading', { name: words.check.doubtTitle }).waitFor();
  };
  await enter95();
  assert.deepEqual(await readings(), first, 'nothing is kept while it asks');
  await button(page, words.check.doubtNeither).click();
  assert.deepEqual(await readings(), first, 'nothing is kept when neither is right');

  await enter95();
  await button(page, words.check.doubtEqual(format.degreesOf(95, 'F'), format.degreesOf(35, 'C'))).click();
  await page.getByText(words.check.lastRead(format.degreesOf(95, 'F'), '').split(',')[0]).first().waitFor();
  const last = (await readings()).at(-1);
  assert.deepEqual({ value: last.value, unit: last.unit, confirmed: last.confirmed }, { value: 95, unit: 'F', confirmed: true }, 'kept as it was said to be');
});

test('a wrong password is said on the screen, and the app stays outside', { timeout: 60_000 }, async (t) => {
  const server = await serve(t);
  const page = await firstPage(await open(t, await profile(t)));
  await page.goto(server.url);
  await page.getByLabel(words.signIn.email).fill(MECHANIC.email);
  await page.getByLabel(words.signIn.password).fill('not the password');
  await button(page, words.signIn.act).click();
  await page.getByText(words.code.problem['auth.wrong']).waitFor();
  assert.equal(await page.getByRole('navigation').count(), 0);
  assert.deepEqual((await stored(page, 'records')).records, []);
});

const DEVICE = '01900000-0000-7000-8000-00000000be57';

async function tokenOf(server) {
  const answer = await server.ask('POST', '/api/v1/session', { body: { ...MECHANIC, device_id: DEVICE, device_name: 'test' } });
  assert.equal(answer.status, 200, answer.text);
  return answer.body.access_token;
}

/** The same token, signed by the server's own key, whose time ran out an hour ago. */
async function expired(server, token) {
  const [head, body] = token.split('.');
  const claims = JSON.parse(Buffer.from(body, 'base64url'));
  const past = { ...claims, iat: claims.iat - 7200, exp: Math.floor(Date.now() / 1000) - 3600 };
  const text = `${head}.${Buffer.from(JSON.stringify(past)).toString('base64url')}`;
  const key = createPrivateKey(await readFile(join(server.folder, 'signing-key.pem')));
  return `${text}.${sign(null, Buffer.from(text), key).toString('base64url')}`;
}

/** An answer must be a problem document with this status and code. */
function problem(answer, status, code) {
  assert.equal(answer.status, status, answer.text);
  assert.match(answer.type, /^application\/problem\+json/);
  assert.equal(answer.body.code, code, answer.text);
  assert.equal(answer.body.status, status);
  for (const member of ['type', 'title', 'detail']) assert.equal(typeof answer.body[member], 'string', member);
}

test('bad requests get problem documents with stable codes, and change nothing', { timeout: 60_000 }, async (t) => {
  const server = await serve(t);
  const token = await tokenOf(server);
  const held = async () => {
    const [pulled, checks] = [await server.ask('GET', '/api/v1/sync/pull?limit=1000', { token }), await server.ask('GET', '/api/v1/checks?limit=200', { token })];
    assert.equal(pulled.status, 200, pulled.text);
    assert.ok(checks.body.checks.length > 0, checks.text);
    return { items: pulled.body.items, next: pulled.body.next, checks: checks.body };
  };
  const before = await held();
  const push = (changes) => ({ proto: 1, app: 'test', device: DEVICE, epoch: '', cursor: '', sent_wall_ms: Date.now(), changes });
  const change = { id: '01900000-0000-7000-8000-00000000c0de', dseq: 1, kind: 'wish', v: 1, body: {} };
  const path = '/api/v1/sync/push';

  await t.test('wrong password', async () => {
    problem(await server.ask('POST', '/api/v1/session', { body: { email: MECHANIC.email, password: 'wrong', device_id: DEVICE, device_name: '' } }), 401, 'auth.wrong');
  });
  await t.test('no token', async () => problem(await server.ask('POST', path, { body: push([]) }), 401, 'auth.missing'));
  await t.test('expired token', async () => problem(await server.ask('POST', path, { token: await expired(server, token), body: push([]) }), 401, 'auth.expired'));
  await t.test('forged token', async () => problem(await server.ask('POST', path, { token: `${token.slice(0, -8)}AAAAAAAA`, body: push([]) }), 401, 'auth.invalid'));
  await t.test('garbage JSON', async () => problem(await server.ask('POST', path, { token, body: '{"proto":1,' }), 400, 'json.malformed'));
  await t.test('not JSON at all', async () => problem(await server.ask('POST', path, { token, body: 'hello', type: 'text/plain' }), 415, 'media.type'));
  await t.test('oversized body', async () => problem(await server.ask('POST', path, { token, body: JSON.stringify(push([{ ...change, body: { text: 'x'.repeat(600 * 1024) } }])) }), 413, 'body.large'));
  await t.test('unknown address', async () => problem(await server.ask('GET', '/api/v1/wishes', { token }), 404, 'not_found'));
  await t.test('unknown kind of change: refused alone, with its own problem', async () => {
    const answer = await server.ask('POST', path, { token, body: push([change]) });
    assert.equal(answer.status, 200, answer.text);
    const [result] = answer.body.results;
    assert.deepEqual([result.id, result.status, result.code], [change.id, 'rejected', 'change.kind']);
    assert.equal(result.problem.code, 'change.kind');
  });
  assert.deepEqual(await held(), before, 'what the server holds is as it was');
});

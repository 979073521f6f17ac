/** The drip camera's part in a browser: without a camera, refused, and worked by keys and finger. */
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { button } from './person.mjs';
import { cameraPage, openWith, said } from './camera-stage.mjs';
import { beginning } from './words.mjs';

test('without a camera the finger counts', { timeout: 120_000 }, async (t) => {
  const address = await cameraPage(t);
  const cases = [
    ['none there', [], {}, said.trouble.none],
    ['refused', ['--use-fake-device-for-media-stream', '--deny-permission-prompts'], {}, said.trouble.denied],
  ];
  for (const [name, flags, options, want] of cases) {
    await t.test(name, async (t) => {
      const { shown, errors } = await openWith(t, address, flags, options);
      await shown.getByRole('alert').waitFor();
      assert.equal((await shown.getByRole('alert').innerText()).trim(), want);
      for (let n = 0; n < 3; n++) await button(shown, beginning(said.tap)).click();
      await button(shown, beginning(said.tap)).press('Enter');
      assert.equal(await shown.evaluate(() => globalThis.record.drops.length), 4);
      assert.equal(await shown.locator('.count').innerText(), '4');
      assert.deepEqual(errors, []);
    });
  }
});

test('the box moves by keys, and the finger can take over and give back', { timeout: 120_000 }, async (t) => {
  const address = await cameraPage(t);
  const { shown, errors } = await openWith(t, address, ['--use-fake-device-for-media-stream', '--use-fake-ui-for-media-stream'], { permissions: ['camera'] });
  const box = shown.getByRole('button', { name: said.boxKeys });
  await box.waitFor();
  const before = await box.boundingBox();
  await box.press('ArrowRight');
  await box.press('Shift+ArrowUp');
  const after = await box.boundingBox();
  assert.ok(after.x > before.x && after.height < before.height, `${JSON.stringify(before)} became ${JSON.stringify(after)}`);
  await button(shown, said.begin).click();
  await button(shown, said.letHand).click();
  const told = await shown.evaluate(() => globalThis.record.drops.length);
  await button(shown, beginning(said.tap)).click();
  await shown.waitForTimeout(1500);
  assert.equal(await shown.evaluate(() => globalThis.record.drops.length), told + 1, 'while the finger counts the camera tells nothing');
  await button(shown, said.letCamera).click();
  await shown.getByText(said.tap, { exact: true }).waitFor({ state: 'detached' });
  await button(shown, said.again).click();
  await button(shown, said.begin).waitFor();
  assert.deepEqual(errors, []);
});

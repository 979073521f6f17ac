/** The app's own object, for tests that need a check in some state and not the way there. */
import { readFile } from 'node:fs/promises';

/** Opens the app so that it lets itself be acted on. */
export async function openByHand(page, server) {
  await page.goto(`${server.url}/?by-hand`);
  await page.waitForFunction(() => globalThis.brimlineTest !== undefined);
}

/** The recorded check: every act after the cautions, each with its second. */
export async function recordedActs() {
  return JSON.parse(await readFile(new URL('../../testdata/checks/side-plug.json', import.meta.url))).acts;
}

/** Opens a check and performs the recorded acts up to and with the first of `lastKind`; returns the check's id. */
export async function checkUpTo(page, vehicle, lastKind) {
  const acts = await recordedActs();
  const part = acts.slice(0, acts.findIndex((act) => act.kind === lastKind) + 1);
  return page.evaluate(async ([vehicle_id, part]) => {
    const app = globalThis.brimlineTest;
    const id = await app.startCheck({ vehicle_id, reason: 'level_check', cooler_circuit: 'untouched', cycle: 1, raised: false, indoors: false, warmer: 'no' });
    for (const c of await app.cautions()) await app.act(id, 'caution.acknowledged', { caution_id: c.id, edition: c.edition });
    for (const act of part) await app.act(id, act.kind, act.body);
    return id;
  }, [vehicle.id, part]);
}

// The projector's part of the walk: a second window stands for the second display. Crosses are dragged onto marks, the test
// picture is measured, and pieces are gone through by keys.
import assert from 'node:assert/strict';
import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';

/**
 * @param {{page: any, context: any, watch: (p: any) => void, sound: (name: string, p?: any) => Promise<void>, say: (s: string) => void,
 *   workshop: string, job: string, shot: (name: string, p: any) => Promise<void>}} walk `job` is planned.
 */
export async function projector({ page, context, watch, sound, say, workshop, job, shot }) {
  say('a bench is set up by dragging four crosses, and its error told');
  const at = (path) => new URL(path, page.url()).href;
  await page.goto(at('/projector'));
  await page.waitForSelector('aside.caution');
  assert.match(await page.locator('aside.caution').first().innerText(), /Never look into the beam/);
  await page.fill('#bench', 'Door side');
  await page.getByRole('button', { name: 'Work at this bench' }).click();
  await page.waitForSelector('#standing');
  await sound('projector, nothing set up');
  const thrown = await context.newPage();
  watch(thrown);
  await thrown.setViewportSize({ width: 1920, height: 1080 });
  await thrown.goto(at('/projector/throw'));
  await thrown.waitForFunction(() => document.querySelector('projector-view .said')?.textContent?.includes('F'));
  await sound('the thrown window', thrown);
  await page.fill('#along', '1600');
  await page.fill('#across', '90 cm');
  await page.getByRole('button', { name: 'Show the crosses' }).click();
  await page.waitForSelector('#keep');
  await thrown.waitForFunction(() => document.querySelectorAll('.cross').length === 4);
  // Where the marks are in the picture of a projector that hangs askew.
  const marks = [[120, 1010], [1790, 1040], [201, 61], [1725, 30]];
  for (const [i, [x, y]] of marks.entries()) {
    const cross = await thrown.locator(`[data-cross="${i}"] circle`).boundingBox();
    await thrown.mouse.move(cross.x + cross.width / 2, cross.y + cross.height / 2);
    await thrown.mouse.down();
    await thrown.mouse.move(x, y, { steps: 6 });
    await thrown.mouse.up();
  }
  await shot('projector-crosses', thrown);
  // The last one by keys: a pixel to the right and back, a quarter down.
  const reported = thrown.waitForResponse((r) => r.url().endsWith('/projector/marks') && r.status() === 204);
  await thrown.keyboard.press('3');
  for (const key of ['ArrowRight', 'ArrowLeft', 'Shift+ArrowUp', 'Shift+ArrowDown']) await thrown.keyboard.press(key);
  await reported;
  await sound('crosses', thrown);
  await page.click('#keep');
  await page.waitForSelector('#standing .worst');
  assert.match(await page.locator('#standing .note.warning').innerText(), /may be off by [\d.]+ mm/);
  const worst = async () => Number((await page.locator('#standing .worst').innerText()).match(/([\d.]+) mm/)[1]);
  const before = await worst();
  await thrown.waitForSelector('polyline.check');
  await page.locator('#standing summary').click();
  assert.equal(await page.locator('.places td').count(), 35);
  await sound('projector, set up');
  await shot('projector-check', thrown);
  await page.goto(at(`/job/${encodeURIComponent(job)}/project`));
  await page.getByRole('button', { name: 'Throw', exact: true }).click();
  await page.waitForSelector('#message .fault');
  assert.match(await page.locator('#message').innerText(), /more than 1\.5 mm/);

  say('the test picture is measured with the tape');
  await page.goto(at('/projector'));
  await page.getByRole('button', { name: 'Show the test picture' }).click();
  await thrown.waitForFunction(() => document.querySelectorAll('polyline.grid').length > 20);
  await shot('projector-test', thrown);
  await page.fill('#length-0', '17');
  await page.getByRole('button', { name: 'Tell the error' }).click();
  await page.waitForSelector('#message .fault');
  const fields = await page.locator('[id^=length-]').count();
  for (let i = 0; i < fields; i += 1) {
    const meant = (await page.locator(`label[for=length-${i}]`).innerText()).match(/\(([\d.]+) mm\)/)[1];
    await page.fill(`#length-${i}`, i === 0 ? `${meant.replace('.', ',')} mm` : meant);
  }
  await page.getByRole('button', { name: 'Tell the error' }).click();
  await page.waitForFunction(() => document.body.textContent?.includes('A10-Q1'));
  assert.ok((await worst()) < before, `${await worst()} of ${before}`);
  await sound('projector, measured');
  await shot('projector-page', page);
  const yes = page.getByRole('button', { name: /Yes, cut by it/ });
  if (await yes.count()) await yes.click();
  await page.waitForFunction(() => /Ready to cut by/.test(document.querySelector('#standing')?.textContent ?? ''));
  await page.selectOption('#colour', 'green');
  await page.waitForFunction(() => document.querySelector('#colour')?.value === 'green');
  assert.ok(existsSync(join(workshop, 'benches.json')));

  say('the key of a foot pedal is learnt');
  await page.getByRole('button', { name: 'Learn a key: Next', exact: true }).click();
  await page.keyboard.press('b');
  await page.waitForFunction(() => document.querySelector('key-learner kbd')?.textContent === 'b');

  say('pieces are gone through by keys, pedal and tap');
  await page.goto(at(`/job/${encodeURIComponent(job)}/project`));
  await page.getByRole('button', { name: 'Throw', exact: true }).click();
  await page.waitForSelector('#cutting .piece-now');
  await thrown.waitForSelector('polyline.cut');
  const stop = () => page.locator('#cutting').innerText().then((t) => Number(t.match(/^(\d+) of \d+$/m)[1]));
  const comes = (n) => page.waitForFunction((k) => new RegExp(`^${k} of`, 'm').test(document.querySelector('#cutting')?.innerText ?? ''), n);
  assert.equal(await stop(), 1);
  const all = (await page.locator('#cutting').innerText()).match(/^\d+ of (\d+)$/m)[1];
  assert.match(await thrown.locator('svg text').first().innerHTML(), /face up|FACE DOWN/);
  const first = await thrown.locator('polyline.cut').first().getAttribute('points');
  assert.equal(await thrown.locator('polyline.cut').first().getAttribute('stroke'), '#33ff33');
  await shot('projector-piece', thrown);
  await sound('a thrown piece', thrown);
  await sound('cutting');
  await thrown.keyboard.press('Space');
  await comes(2);
  await thrown.keyboard.press('PageUp');
  await comes(1);
  await thrown.keyboard.press('b');
  await comes(2);
  await thrown.waitForFunction((old) => document.querySelector('polyline.cut')?.getAttribute('points') !== old, first);
  await thrown.mouse.click(1000, 500);
  await comes(3);
  await thrown.mouse.click(100, 500);
  await comes(2);
  await page.keyboard.press('PageUp');
  await comes(1);
  await shot('projector-cutting', page);
  await page.selectOption('#shown', 'all');
  await page.getByRole('button', { name: 'Throw', exact: true }).click();
  await page.waitForFunction((n) => !new RegExp(`of ${n}$`, 'm').test(document.querySelector('#cutting')?.innerText ?? ''), all);
  await thrown.waitForFunction((n) => !document.querySelector('projector-view svg')?.getAttribute('aria-label')?.includes(`of ${n} `), all);
  await thrown.waitForSelector('polyline.cut');
  await shot('projector-all', thrown);
  // A window of another size is not the picture that was set up.
  await thrown.setViewportSize({ width: 1280, height: 720 });
  await thrown.waitForFunction(() => /1920/.test(document.querySelector('projector-view .said')?.textContent ?? ''));
  assert.equal(await thrown.locator('polyline').count(), 0);
  const kept = JSON.parse(readFileSync(join(workshop, 'benches.json'), 'utf8'));
  assert.equal(kept.benches[0].name, 'Door side');
  await thrown.close();
}

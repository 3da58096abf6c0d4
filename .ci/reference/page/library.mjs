// The workshop's cloths, a mould of a left and a right part, a part weighed, and the next job begun from it, in Chromium.
// `node library.mjs WARPWISE CHROMIUM [PICTURES]`.
import assert from 'node:assert/strict';
import { spawn } from 'node:child_process';
import { existsSync, mkdirSync, mkdtempSync, readFileSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import AxeBuilder from '@axe-core/playwright';
import { chromium } from 'playwright-core';

const [warpwise, chrome, pictures] = process.argv.slice(2);
const workshop = mkdtempSync(join(tmpdir(), 'workshop-'));
const text = (...path) => readFileSync(join(workshop, ...path), 'utf8');
mkdirSync(join(workshop, 'hip plates'));
writeFileSync(join(workshop, 'hip plates', 'hip.csv'), 'x_mm,y_mm\n0,0\n260,0\n280,70\n90,90\n70,190\n0,180\n');
writeFileSync(join(workshop, 'hip plates', 'job.toml'), `[job]
name = "hip plates"
[[cloth]]
id = "mat-100"
weave = "mat"
up = "bare"
roll_width = 600
selvedge = 0
areal_mass = 100
resin_content = "50 %"
[[template]]
id = "hip"
file = "hip.csv"
arrow = 0
taken_off = "mould"
inked_side = "up"
[[layer]]
name = "outer"
cloth = "mat-100"
angle = 0
templates = ["hip"]
`);

const server = spawn(warpwise, ['bench', workshop, '--no-open'], { env: { ...process.env, XDG_DATA_HOME: join(workshop, 'data') } });
const link = await new Promise((resolve, reject) => {
  server.stdout.once('data', (line) => resolve(String(line).trim()));
  server.once('exit', () => reject(new Error('the server ended')));
});
const browser = await chromium.launch({ executablePath: chrome, args: ['--no-sandbox'] });
const page = await (await browser.newContext({ viewport: { width: 1600, height: 1000 } })).newPage();
const wrong = [];
let axeRuns = false;
let refusals = false;
page.on('pageerror', (e) => wrong.push(`error: ${e.message}`));
page.on('console', (m) => {
  if (m.type() === 'error' && !axeRuns && !refusals && !/inline style/.test(m.text())) wrong.push(`console: ${m.text()}`);
});
page.on('response', (r) => {
  if (r.status() >= 400 && !refusals) wrong.push(`${r.status()} ${r.url()}`);
});
const say = (what) => console.log(`   ${what}`);

/** axe in light and dark at three widths, and that nothing is wider than the window; a picture of each. */
async function sound(name) {
  for (const width of [360, 800, 1600]) {
    for (const colorScheme of ['light', 'dark']) {
      await page.setViewportSize({ width, height: 1000 });
      await page.emulateMedia({ colorScheme });
      await page.waitForTimeout(100);
      axeRuns = true;
      const found = (await new AxeBuilder({ page }).analyze()).violations.filter((v) => ['serious', 'critical'].includes(v.impact));
      axeRuns = false;
      assert.deepEqual(found.map((v) => `${name} ${width} ${colorScheme}: ${v.id} ${v.nodes[0].html} ${v.nodes[0].failureSummary}`), []);
      assert.ok(await page.evaluate(() => document.documentElement.scrollWidth <= window.innerWidth), `${name} is wider than ${width}`);
      if (!pictures) continue;
      mkdirSync(pictures, { recursive: true });
      await page.screenshot({ path: join(pictures, `${name}-${width}-${colorScheme}.png`), fullPage: true });
    }
  }
  await page.emulateMedia({ colorScheme: 'light' });
}
const to = (path) => new URL(path, link).href;
const answered = (part) => page.waitForResponse((r) => r.url().includes(part) && r.request().method() === 'POST');
/** Types into a field or chooses, and waits for the answer. */
async function put(selector, value, part) {
  const field = page.locator(selector);
  const is = await field.evaluate((f) => f.tagName);
  const answer = answered(part);
  if (is === 'SELECT') await field.selectOption(value);
  else {
    await field.fill(value);
    await field.press('Tab');
  }
  await (await answer).finished();
  await page.waitForTimeout(50);
}

say('a cloth is taken from a job into the library, and one is added there');
await page.goto(link);
await page.goto(to('/job/hip%20plates/cloths'));
await page.getByRole('button', { name: "Into the workshop's cloths" }).click();
await page.getByText("From the workshop's cloths: mat-100").waitFor();
assert.match(text('cloths.toml'), /id = "mat-100"/);
await sound('job-cloths');
assert.equal(await page.locator('header a[href="/cloths"]').count(), 1);
await page.goto(to('/cloths'));
await page.getByText('Taken by: hip plates').waitFor();
await page.getByRole('button', { name: 'Add a cloth' }).click();
await page.locator('#f-cloth-1-id').waitFor();
await put('#f-cloth-1-id', 'twill-200', '/cloths/edit');
await put('#f-cloth-1-weave', 'twill 2/2', '/cloths/edit');
await page.locator('#f-cloth-1-notes .note.fault').first().waitFor();
await put('#f-cloth-1-twill_line', '45', '/cloths/edit');
await put('#f-cloth-1-up', 'paper', '/cloths/edit');
await put('#f-cloth-1-roll_width', '1250 ells', '/cloths/edit');
await page.locator('#f-cloth-1-roll_width[aria-invalid]').waitFor();
await put('#f-cloth-1-roll_width', '1250', '/cloths/edit');
await put('#f-cloth-1-selvedge', '10', '/cloths/edit');
await put('#f-cloth-1-areal_mass', '200', '/cloths/edit');
assert.equal(await page.locator('.note.fault').count(), 0);
await page.locator('input[type=file]').nth(1).setInputFiles({ name: 'twill.pdf', mimeType: 'application/pdf', buffer: Buffer.from('%PDF-1.4\n') });
await page.getByRole('link', { name: 'Data sheet of twill-200' }).waitFor();
assert.ok(existsSync(join(workshop, 'data-sheets', 'twill-200.pdf')));
await sound('cloths');

say('what a job takes is not removed; undo brings back what is');
refusals = true;
await page.getByRole('button', { name: 'Remove mat-100' }).click();
await page.locator('#message .fault').waitFor();
assert.match(await page.locator('#message').innerText(), /hip plates/);
refusals = false;
await page.getByRole('button', { name: 'Remove twill-200' }).click();
await page.waitForFunction(() => document.querySelectorAll('main .card').length === 1);
await page.getByRole('button', { name: 'Undo' }).click();
await page.waitForFunction(() => document.querySelectorAll('main .card').length === 2);

say('a mould of a left and a right part: kept at once, and what that changed is said');
await page.goto(to('/job/hip%20plates/templates'));
await page.getByText('Moulds: 0').click();
await page.getByRole('button', { name: 'Add a mould' }).click();
await page.locator('#f-mould-0-hands').waitFor();
const before = text('hip plates', 'job.toml');
await put('#f-mould-0-inked_side', 'up', '/mould');
await put('#f-template-0-mould', 'mould', '/mould');
assert.ok(!/taken_off/.test(text('hip plates', 'job.toml')) && /taken_off/.test(before));
await put('#f-mould-0-hands', 'pair', '/mould');
await page.locator('#f-mould-0-hands ~ .notes .note.fault, [role=status] .note.fault').first().waitFor();
await put('#f-mould-0-taped', 'left', '/mould');
await page.getByText('1 × right (mirrored)').waitFor();
await sound('mould');
assert.match(text('hip plates', 'job.toml'), /taped = "left"/);
await page.goto(to('/job/hip%20plates/plies'));
await page.getByText('right (mirrored)').first().waitFor();
await sound('plies');

say('a part is planned and weighed; the next job is begun from it and shows what it weighed');
await page.goto(to('/job/hip%20plates/plan'));
await page.fill('#seconds', '0.3');
await page.click('button.go');
await page.waitForSelector('figure.overview', { timeout: 60000 });
await page.waitForFunction(() => !document.querySelector('plan-watch'), null, { timeout: 60000 });
await page.goto(to('/job/hip%20plates/lay'));
await page.locator('#after-0 summary').click();
await page.fill('#finished-0', '17');
await page.locator('#finished-0').blur();
await page.getByText('weighed 17').waitFor();
await page.goto(to('/cloths'));
await put('#f-cloth-0-areal_mass', '120', '/cloths/edit');
await page.goto(to('/'));
await sound('home');
await page.fill('#name', 'hip plates 2');
await page.selectOption('#from', 'hip plates');
await page.getByRole('button', { name: 'Begin a job' }).click();
await page.getByText('Came along: layers 1').waitFor();
await sound('begun');
await page.getByRole('link', { name: 'Open hip plates 2' }).click();
await page.goto(to('/job/hip%20plates%202/plan'));
await page.getByText('One part is no rule').waitFor();
await sound('learnt');
await page.goto(to('/job/hip%20plates/plan'));
await page.getByText('mat-100 was planned with other values').waitFor();
await sound('planned-before');

assert.deepEqual(wrong, []);
await browser.close();
server.kill();
say('nothing was wrong');

// Walks the whole way of the work in Chromium: a photo, an outline mended, cloth, layers, plies, plan, sheets, booking, undo; a broken
// photo, two windows on one job, the server killed in between. `node walk.mjs WARPWISE DEMO_DATA CHROMIUM [PICTURES]`.
import assert from 'node:assert/strict';
import { spawn } from 'node:child_process';
import { mkdtempSync, readFileSync, writeFileSync, existsSync, mkdirSync, readdirSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import AxeBuilder from '@axe-core/playwright';
import { chromium } from 'playwright-core';

const [warpwise, demo, chrome, pictures] = process.argv.slice(2);
const workshop = mkdtempSync(join(tmpdir(), 'workshop-'));
const job = join(workshop, 'Heel rest', 'job.toml');

/** Starts the server; gives its process and the address it prints. */
async function serve() {
  const server = spawn(warpwise, ['bench', workshop, '--no-open'], { env: { ...process.env, XDG_DATA_HOME: join(workshop, 'data') } });
  const link = await new Promise((resolve, reject) => {
    server.stdout.once('data', (line) => resolve(String(line).trim()));
    server.once('exit', () => reject(new Error('the server ended')));
  });
  return { server, link };
}

let { server, link } = await serve();
const browser = await chromium.launch({ executablePath: chrome, args: ['--no-sandbox'] });
const context = await browser.newContext({ viewport: { width: 1280, height: 900 } });
const page = await context.newPage();
const wrong = [];
const expected = [409, 422];
let axeRuns = false;
const watch = (p) => {
  p.on('pageerror', (e) => wrong.push(`error: ${e.message}`));
  p.on('console', (m) => {
    // The checker of accessibility puts styles of its own in.
    if (m.type() === 'error' && !axeRuns && !/status of (409|422)|ERR_CONNECTION|ERR_INCOMPLETE_CHUNKED|inline style/.test(m.text())) wrong.push(`console: ${m.text()}`);
  });
  p.on('response', (r) => {
    if (r.status() >= 400 && !expected.includes(r.status())) wrong.push(`${r.status()} ${r.url()}`);
  });
};
watch(page);

/** Nothing serious by axe-core, and nothing wider than the window. */
async function sound(name) {
  axeRuns = true;
  const found = (await new AxeBuilder({ page }).analyze()).violations.filter((v) => ['serious', 'critical'].includes(v.impact));
  axeRuns = false;
  assert.deepEqual(found.map((v) => `${name}: ${v.id} ${v.nodes[0].html}`), []);
}

async function step(name) {
  await page.click(`#rail a[href$="/${name}"]`);
  await page.waitForSelector(`#rail a[href$="/${name}"][aria-current]`);
}

const say = (what) => console.log(`   ${what}`);

await page.goto(link);
assert.equal(new URL(page.url()).search, '', 'the key leaves the address');
await sound('home');
await page.fill('#name', 'Heel rest');
await page.click('main form button.add');
await page.waitForURL(/templates/);

say('a broken photo is refused in words, a sound one becomes a template');
await page.setInputFiles('#file', { name: 'broken.jpg', mimeType: 'image/jpeg', buffer: Buffer.from([0xff, 0xd8, 0xff, 1, 2, 3]) });
await page.waitForSelector('#message .fault');
assert.ok(!existsSync(join(workshop, 'Heel rest', 'broken.jpg')));
await page.setInputFiles('#file', join(demo, 'heel-rest.jpg'));
await page.waitForSelector('#h-template-0', { timeout: 120000 });
assert.ok(existsSync(join(workshop, 'Heel rest', 'heel-rest.svg')) && existsSync(join(workshop, 'Heel rest', 'heel-rest-check.svg')));
await sound('templates');

say('the outline is mended over its photo');
await page.click('a[href$="/outline/0"]');
await page.waitForSelector('outline-editor image');
await sound('outline');
const before = readFileSync(join(workshop, 'Heel rest', 'heel-rest.svg'), 'utf8');
const corner = await page.locator('outline-editor circle').nth(2).boundingBox();
await page.mouse.move(corner.x + corner.width / 2, corner.y + corner.height / 2);
await page.mouse.down();
await page.mouse.move(corner.x + 22, corner.y + 12, { steps: 6 });
assert.equal(await page.locator('.loupe').count(), 1);
await page.mouse.up();
await page.keyboard.press('Shift+ArrowUp');
await page.keyboard.press('e');
await page.locator('[data-kind=lap]').click();
await page.locator('outline-editor button.go').click();
await page.waitForFunction(() => document.querySelector('outline-editor p')?.textContent?.includes('heel-rest-edited.svg'));
assert.equal(readFileSync(join(workshop, 'Heel rest', 'heel-rest.svg'), 'utf8'), before, 'the traced drawing stays');
assert.ok(/-lap/.test(readFileSync(join(workshop, 'Heel rest', 'heel-rest-edited.svg'), 'utf8')));
await page.locator('outline-editor svg').first().focus();
await page.keyboard.press('Control+z');
await page.keyboard.press('Control+y');

say('a fault stands beside its field at once, and goes when it is mended');
await step('cloths');
const width = page.locator('#f-cloth-0-roll_width');
await width.fill('wide');
await width.press('Tab');
await page.waitForSelector('#f-cloth-0-roll_width-notes .fault');
assert.equal(await width.inputValue(), 'wide', 'what was typed stays');
assert.equal(await page.evaluate(() => document.activeElement?.id), 'f-cloth-0-selvedge', 'and the next field keeps the keyboard');
await sound('cloths with a fault');
await width.fill('1,25 m');
await width.press('Tab');
await page.waitForFunction(() => !document.querySelector('#f-cloth-0-roll_width-notes .note'));
assert.match(readFileSync(job, 'utf8'), /roll_width = "1\.25 m" +# CHECK/);
await width.fill('1250');
await width.press('Tab');
await page.waitForFunction(() => !document.querySelector('#f-cloth-0-roll_width-notes .note'));

say('layers: what they lay, another one, its place');
await step('layers');
await page.locator('.lay', { hasText: 'heel-rest' }).first().locator('input[type=checkbox]').check();
await page.waitForFunction(() => document.querySelectorAll('.layers > li figure svg').length === 1);
await page.getByRole('button', { name: /Add a layer/ }).click();
await page.waitForFunction(() => document.querySelectorAll('.layers > li').length === 2);
const angle = page.locator('#f-layer-1-angle');
await angle.fill('45');
await angle.press('Tab');
await page.locator('.layers > li').nth(1).getByRole('button', { name: /towards the mould/ }).click();
await page.waitForFunction(() => document.querySelector('#f-layer-0-angle')?.value === '45');
await sound('layers');
assert.match(readFileSync(job, 'utf8'), /# The layers in laying order/, 'comments stay');

say('two windows on one job overwrite nothing');
const other = await context.newPage();
watch(other);
await other.goto(page.url().replace('/layers', '/cloths'));
await other.locator('#f-cloth-0-selvedge').fill('77');
const seen = await page.inputValue('#rev');
await page.locator('#f-layer-0-name').fill('bias');
await page.locator('#f-layer-0-name').press('Tab');
await page.waitForFunction((old) => document.querySelector('#rev')?.value !== old, seen);
// Past the moment when the other window hears of it.
await other.waitForTimeout(2500);
assert.equal(await other.inputValue('#f-cloth-0-selvedge'), '77', 'what is being typed stays');
await other.locator('#f-cloth-0-selvedge').press('Tab');
await other.waitForSelector('#message .fault');
assert.doesNotMatch(readFileSync(job, 'utf8'), /selvedge = 77/);
await other.close();

say('stock, plies, plan');
await page.goto(new URL('/stock', page.url()).href);
await page.getByText('Add a roll').click();
for (const [name, value] of [['cloth', 'twill-200'], ['width', '1250'], ['length', '6 m']]) await page.fill(`#roll-${name}`, value);
await page.locator('details[open] input[name=new_cloth]').check();
await page.locator('details[open] button.add').click();
await page.waitForSelector('.card.roll');
await sound('stock');
await page.goto(new URL('/job/Heel%20rest/templates', page.url()).href);
await page.locator('summary', { hasText: 'The job' }).click();
await page.fill('#f-stock', '../stock.sqlite');
await page.locator('#f-stock').press('Tab');
await page.waitForFunction(() => document.querySelector('#rail .fault') === null);
await step('plies');
await sound('plies');
assert.ok((await page.locator('.piece').count()) >= 2);
await step('plan');
await page.fill('#seconds', '2');
await page.click('button.go');
await page.waitForSelector('plan-watch');
await page.waitForSelector('figure.overview', { timeout: 120000 });
await page.waitForFunction(() => !document.querySelector('plan-watch'), null, { timeout: 120000 });
await sound('plan');

say('the server is killed; another one goes on where it was');
server.kill('SIGKILL');
await new Promise((resolve) => server.once('exit', resolve));
({ server, link } = await serve());
await page.goto(link);
await page.click('a.job');
await step('sheets');
await page.waitForSelector('#pages a', { timeout: 120000 });
await sound('sheets');
const print = await page.request.get(new URL(await page.locator('#pages a').first().getAttribute('href'), page.url()).href);
assert.equal((await print.body()).subarray(0, 4).toString(), '%PDF');

say('booked after a look at what changes, and taken back');
await page.getByRole('button', { name: /Show what would change/ }).click();
await page.waitForSelector('#booking .go');
await page.click('#booking .go');
await page.waitForFunction(() => /Booked\./.test(document.querySelector('#booking')?.textContent ?? ''));
await page.goto(new URL('/stock', page.url()).href);
assert.doesNotMatch(await page.locator('.card.roll').first().innerText(), /6\.00 m/);
await page.getByRole('button', { name: /Undo the last change/ }).click();
await page.waitForFunction(() => /6\.00 m/.test(document.querySelector('.card.roll')?.textContent ?? ''));

say('every page fits a phone, a tablet and a wide screen, in light and dark, in both languages');
if (pictures) mkdirSync(pictures, { recursive: true });
const shown = ['/', '/stock', ...['templates', 'cloths', 'layers', 'plies', 'plan', 'sheets', 'outline/0'].map((s) => `/job/Heel%20rest/${s}`)];
for (const [size, scheme, language] of [[360, 'light', 'de'], [800, 'dark', 'en'], [1600, 'light', 'en']]) {
  await page.setViewportSize({ width: size, height: 900 });
  await page.emulateMedia({ colorScheme: scheme });
  await page.goto(new URL(`/language?to=${language}`, link).href);
  for (const path of shown) {
    await page.goto(new URL(path, link).href);
    const wide = await page.evaluate(() => document.scrollingElement.scrollWidth);
    assert.ok(wide <= size + 1, `${path} is ${wide} px wide on ${size}`);
    await sound(`${path} at ${size}, ${scheme}`);
    if (pictures) await page.screenshot({ path: join(pictures, `${size}-${scheme}${path.replace(/\W+/g, '-')}.png`), fullPage: true });
  }
}
assert.deepEqual(wrong, []);
await browser.close();
server.kill('SIGINT');
await new Promise((resolve) => server.once('exit', resolve));
assert.ok(!existsSync(join(workshop, '.warpwise-bench')), 'nothing is left of a server that ended');
writeFileSync(1, `the page: the whole way walked, ${readdirSync(join(workshop, 'Heel rest')).length} files of the job\n`);

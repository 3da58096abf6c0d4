// Walks the whole way of the work in Chromium: a photo, an outline mended, cloth, layers, plies, plan, sheets, booking, undo; a broken
// photo, two windows on one job, the server killed in between. `node walk.mjs WARPWISE DEMO_DATA CHROMIUM [PICTURES]`.
import assert from 'node:assert/strict';
import { spawn } from 'node:child_process';
import { mkdtempSync, readFileSync, writeFileSync, existsSync, mkdirSync, readdirSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import AxeBuilder from '@axe-core/playwright';
import { chromium } from 'playwright-core';
import { projector } from './projector.mjs';

const [warpwise, demo, chrome, pictures] = process.argv.slice(2);
const workshop = mkdtempSync(join(tmpdir(), 'workshop-'));
const job = join(workshop, 'Heel rest', 'job.toml');

/** Starts the server; gives its process and the address it prints. */
async function serve() {
  const server = spawn(warpwise, ['bench', workshop, '--no-open', '--on-network=127.0.0.1'], { env: { ...process.env, XDG_DATA_HOME: join(workshop, 'data') } });
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
async function sound(name, looked = page) {
  axeRuns = true;
  const found = (await new AxeBuilder({ page: looked }).analyze()).violations.filter((v) => ['serious', 'critical'].includes(v.impact));
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

say('where no card is found, the corners of a known size are put by hand');
const bare = await page.evaluate(() => {
  const canvas = document.createElement('canvas');
  [canvas.width, canvas.height] = [1200, 900];
  const pen = canvas.getContext('2d');
  pen.fillStyle = '#d8d8d8';
  pen.fillRect(0, 0, 1200, 900);
  pen.fillStyle = '#303030';
  pen.fillRect(450, 350, 500, 360);
  return canvas.toDataURL('image/png').split(',')[1];
});
await page.setInputFiles('#file', { name: 'lid.png', mimeType: 'image/png', buffer: Buffer.from(bare, 'base64') });
await page.waitForSelector('#untraced a', { timeout: 120000 });
await page.click('#untraced a');
await page.waitForSelector('card-corners circle');
await sound('corners');
const photo = await page.locator('card-corners svg').first().boundingBox();
const pixel = Math.min(photo.width / 1200, photo.height / 900);
const onPhoto = (x, y) => [photo.x + (photo.width - 1200 * pixel) / 2 + x * pixel, photo.y + (photo.height - 900 * pixel) / 2 + y * pixel];
for (const [i, [x, y]] of [[40, 40], [400, 40], [400, 280], [40, 280]].entries()) {
  const mark = await page.locator('card-corners circle').nth(i).boundingBox();
  await page.mouse.move(mark.x + mark.width / 2, mark.y + mark.height / 2);
  await page.mouse.down();
  await page.mouse.move(...onPhoto(x, y), { steps: 5 });
  assert.equal(await page.locator('.loupe').count(), 1);
  await page.mouse.up();
}
await page.keyboard.press('1');
await page.keyboard.press('ArrowRight');
await page.selectOption('#span', 'size');
await page.fill('#width', '18 cm');
await page.fill('#height', '120');
await page.click('card-corners button.go');
await page.waitForSelector('#h-template-1', { timeout: 120000 });
assert.match(await page.locator('[aria-labelledby=h-template-1] figcaption').innerText(), /^(24\d|25\d)(\.\d)? mm × (17\d|18\d)(\.\d)? mm$/);
await page.locator('[aria-labelledby=h-template-1] button.remove').click();
await page.waitForFunction(() => !document.querySelector('#h-template-1'));

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
// A zone drawn by keys alone.
const zones = () => page.locator('outline-editor polygon.zone').count();
assert.equal(await zones(), 0);
await page.locator('[data-tool=zone]').focus();
await page.keyboard.press('Enter');
for (const key of ['ArrowUp', ' ', 'ArrowRight', 'ArrowRight', ' ', 'ArrowDown', 'ArrowDown', ' ', 'Enter']) await page.keyboard.press(key);
assert.equal(await zones(), 1);
await page.keyboard.press('Control+z');
assert.equal(await zones(), 0);
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
for (const [typed, kept] of [['2', true], ['', false]]) {
  const is = () => /template = "heel-rest", copies = 2/.test(readFileSync(job, 'utf8')) === kept;
  // The step may be drawn anew meanwhile.
  for (let k = 0; k < 20 && !is(); k++) {
    const copies = page.locator('.lay input[name=copies]').first();
    await copies.fill(typed);
    await copies.press('Tab');
    await page.waitForTimeout(400);
  }
  assert.ok(is(), 'copies of a template in a layer');
}
await page.getByRole('button', { name: /Add a layer/ }).click();
await page.waitForFunction(() => document.querySelectorAll('.layers > li').length === 2);
await page.locator('.layers > li').nth(1).locator('.lay', { hasText: 'heel-rest' }).locator('input[type=checkbox]').check();
await page.waitForFunction(() => document.querySelectorAll('.layers > li figure svg').length === 2);
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
await page.locator('details[open] button.add').click();
await page.waitForSelector('.card.roll');
await sound('stock');
await page.goto(new URL('/job/Heel%20rest/templates', page.url()).href);
await page.waitForFunction(() => document.querySelector('#rail .fault') === null);
await step('plies');
await sound('plies');
assert.ok((await page.locator('.piece').count()) >= 2);
await step('plan');
// The job was begun before there was a stock.
await page.getByRole('button', { name: /Plan from the stock/ }).click();
await page.waitForFunction(() => !document.querySelector('#take-stock'));
assert.match(readFileSync(job, 'utf8'), /^stock = "\.\.\/stock\.sqlite"/m);
assert.equal(await page.inputValue('#seconds'), '20');
// Twelve sets, since one is as short as can be at once.
await page.fill('#seconds', '3600');
await page.fill('#sets', '12');
await page.uncheck('input[name=early]');
await page.click('button.go');
// Drawn live; an hour is asked for, and only the stop ends it.
await page.waitForFunction(() => document.querySelector('cloth-picture')?.frames > 0, null, { timeout: 120000 });
await page.waitForFunction(() => /m/.test(document.querySelector('.lengths')?.textContent ?? ''), null, { timeout: 120000 });
await sound('plan, live');
if (pictures) {
  mkdirSync(pictures, { recursive: true });
  await page.screenshot({ path: join(pictures, 'live.png'), fullPage: true });
}
await page.getByRole('button', { name: /Stop and keep/ }).click();
await page.waitForSelector('figure.overview', { timeout: 120000 });
await page.waitForFunction(() => !document.querySelector('plan-watch'), null, { timeout: 120000 });
await page.fill('#sets', '1');
await page.check('input[name=early]');
await page.click('button.go');
await page.waitForFunction(() => /ended after/.test(document.querySelector('#step')?.textContent ?? '') && !document.querySelector('plan-watch'), null, { timeout: 120000 });
await sound('plan');

say('pieces are moved by hand, pinned and taken back; a flaw drawn on the roll mends the plan');
const plan = () => JSON.parse(readFileSync(join(workshop, 'Heel rest', 'plan', 'plan.json'), 'utf8'));
const planned = plan().id;
await page.click('a[href$="/by-hand"]');
await page.waitForSelector('cut-table g.piece');
await sound('by hand');
const said = () => page.locator('cut-table [role=status]').innerText();
const saying = (what) => page.waitForFunction((w) => new RegExp(w).test(document.querySelector('cut-table [role=status]')?.textContent ?? ''), what, { timeout: 120000 });
const middle = async (k) => {
  const box = await page.locator('cut-table g.piece[data-index]').nth(k).boundingBox();
  return [box.x + box.width / 2, box.y + box.height / 2];
};
await page.mouse.move(...(await middle(0)));
await page.mouse.down();
await page.mouse.move(...(await middle(1)), { steps: 8 });
await page.waitForSelector('cut-table .lifted .over');
await page.waitForSelector('cut-table .lifted .nearest');
assert.match(await said(), /overlaps .* by [\d.]+ mm/);
await sound('by hand, a piece held over another');
if (pictures) await page.screenshot({ path: join(pictures, 'by-hand.png'), fullPage: true });
await page.mouse.up();
await saying('Laid down');
const laid = plan().id;
assert.notEqual(laid, planned, 'what is laid down is on disk');
await page.locator('cut-table svg').focus();
await page.keyboard.press('k');
await page.waitForSelector('cut-table g.pinned');
for (const key of ['n', 'Shift+ArrowRight', 'ArrowUp', 't']) await page.keyboard.press(key);
await page.waitForSelector('cut-table .lifted g');
await page.keyboard.press('Escape');
await page.waitForFunction(() => !document.querySelector('cut-table .lifted g'));
assert.ok(plan().stocks.some((s) => s.placed.some((p) => p.pinned)));
for (const id of [laid, planned]) {
  await page.keyboard.press('Control+z');
  await page.waitForFunction((wanted) => document.querySelector('cut-table')?.table?.plan === wanted, id, { timeout: 60000 });
  assert.equal(plan().id, id);
}
await page.fill('cut-table input', '1');
await page.locator('cut-table [data-does=flaw]').click();
const roll = await page.locator('cut-table .cloth').first().boundingBox();
await page.mouse.move(roll.x + 20, roll.y + 20);
await page.mouse.down();
await page.mouse.move(roll.x + 40, roll.y + 60, { steps: 4 });
await page.mouse.up();
await page.waitForURL(/\/plan$/, { timeout: 60000 });
await page.waitForFunction(() => document.querySelector('figure.overview') && !document.querySelector('plan-watch'), null, { timeout: 120000 });
assert.equal(plan().stocks.find((s) => s.kind === 'roll').flaws.length, 1);

await projector({
  page, context, watch, sound, say, workshop, job: 'Heel rest',
  shot: async (name, p) => {
    if (!pictures) return;
    mkdirSync(pictures, { recursive: true });
    await p.screenshot({ path: join(pictures, `${name}.png`), fullPage: true });
  },
});

say('the server is killed; another one goes on where it was');
server.kill('SIGKILL');
await new Promise((resolve) => server.once('exit', resolve));
({ server, link } = await serve());
await page.goto(link);
await page.click('a.job');
await step('sheets');
await page.waitForSelector('#pages a', { timeout: 120000 });
await sound('sheets');
say('pages are looked at, the check page first');
const check = page.locator('.documents > li', { hasText: 'Check page' });
await check.locator('summary').click();
await check.locator('.pages img').first().scrollIntoViewIfNeeded();
await page.waitForFunction(() => [...document.querySelectorAll('.pages img')].some((i) => i.naturalWidth > 0), null, { timeout: 60000 });
await page.fill('#along', '97,0');
await page.fill('#across', '97');
await page.getByRole('button', { name: /print true/ }).click();
await page.waitForSelector('#printed-true .fault');
await page.fill('#along', '100');
await page.fill('#across', '100');
await page.getByRole('button', { name: /print true/ }).click();
await page.waitForFunction(() => /✓/.test(document.querySelector('#printed-true')?.textContent ?? ''));
await sound('sheets, looked at');
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

say('inches and ounces, where the workshop says so');
await page.goto(new URL('/', page.url()).href);
await page.selectOption('#units', 'inch');
await page.waitForFunction(() => document.querySelector('#units')?.value === 'inch');
await page.goto(new URL('/job/Heel%20rest/cloths', page.url()).href);
assert.equal(await page.inputValue('#f-cloth-0-roll_width'), '49.2126 in');
await page.goto(new URL('/', page.url()).href);
await page.selectOption('#units', 'metric');
await page.waitForFunction(() => document.querySelector('#units')?.value === 'metric');

say('a second device looks, sends a photo that is judged as any other, and changes nothing');
await page.locator('summary', { hasText: 'A second device' }).click();
assert.ok((await page.locator('svg.code').boundingBox()).width > 100);
await sound('home with the code');
const phone = await (await browser.newContext({ viewport: { width: 360, height: 780 } })).newPage();
watch(phone);
await phone.goto(await page.locator('details code').innerText());
await phone.click('a.job');
await phone.waitForSelector('figure.overview');
await sound('second device', phone);
assert.ok((await phone.evaluate(() => document.scrollingElement.scrollWidth)) <= 361);
await phone.setInputFiles('#file', { name: 'broken.jpg', mimeType: 'image/jpeg', buffer: Buffer.from([0xff, 0xd8, 0xff, 1, 2, 3]) });
await phone.waitForSelector('#message .fault');
if (pictures) await phone.screenshot({ path: join(pictures, 'second.png'), fullPage: true });
await phone.close();

say('every page fits a phone, a tablet and a wide screen, in light and dark, in both languages');
if (pictures) mkdirSync(pictures, { recursive: true });
const shown = ['/', '/stock', '/projector', ...['templates', 'cloths', 'layers', 'plies', 'plan', 'by-hand', 'sheets', 'project', 'outline/0'].map((s) => `/job/Heel%20rest/${s}`)];
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

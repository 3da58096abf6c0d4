// The offcut box in Chromium: an offcut by its photo, checked and booked; its label printed, and read again turned, blurred and dim, from a
// picture and by a camera; used, thrown away, undone; which offcuts take a piece; a phone that sends a photo and reads a label.
// `node box.mjs WARPWISE DEMO_DATA CHROMIUM [PICTURES]`.
import assert from 'node:assert/strict';
import { execFileSync, spawn } from 'node:child_process';
import { mkdirSync, mkdtempSync, readFileSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import AxeBuilder from '@axe-core/playwright';
import { chromium } from 'playwright-core';

const [warpwise, demo, chrome, pictures] = process.argv.slice(2);
const workshop = mkdtempSync(join(tmpdir(), 'workshop-'));
mkdirSync(join(workshop, 'tub'));
writeFileSync(join(workshop, 'tub', 'job.toml'), `stock = "../stock.sqlite"
[job]
name = "tub"
[[cloth]]
id = "ud-200"
weave = "unidirectional"
up = "paper"
roll_width = 1250
selvedge = 10
[[strip]]
id = "rib"
length = 300
width = 120
[[layer]]
cloth = "ud-200"
angle = 0
templates = ["rib"]
`);
const film = join(workshop, 'film.mjpeg');
const server = spawn(warpwise, ['bench', workshop, '--no-open', '--on-network=127.0.0.1'], { env: { ...process.env, XDG_DATA_HOME: join(workshop, 'data') } });
const link = await new Promise((resolve, reject) => {
  server.stdout.once('data', (line) => resolve(String(line).trim()));
  server.once('exit', () => reject(new Error('the server ended')));
});
const browser = await chromium.launch({ executablePath: chrome, args: ['--no-sandbox', '--use-fake-ui-for-media-stream', '--use-fake-device-for-media-stream', `--use-file-for-fake-video-capture=${film}`] });
const page = await (await browser.newContext({ viewport: { width: 900, height: 1000 } })).newPage();
const wrong = [];
let axeRuns = false;
const watch = (p) => {
  p.on('pageerror', (e) => wrong.push(`error: ${e.message}`));
  p.on('console', (m) => {
    if (m.type() === 'error' && !axeRuns && !/inline style|status of 4/.test(m.text())) wrong.push(`console: ${m.text()}`);
  });
};
watch(page);
page.on('dialog', (asked) => asked.accept());
const say = (what) => console.log(`   ${what}`);
const to = (path) => new URL(path, link).href;
const shot = async (name, looked = page) => {
  if (!pictures) return;
  mkdirSync(pictures, { recursive: true });
  await looked.screenshot({ path: join(pictures, `${name}.png`), fullPage: true });
};
async function sound(name, looked = page) {
  axeRuns = true;
  const found = (await new AxeBuilder({ page: looked }).analyze()).violations.filter((v) => ['serious', 'critical'].includes(v.impact));
  axeRuns = false;
  assert.deepEqual(found.map((v) => `${name}: ${v.id} ${v.nodes[0].html}`), []);
}

say('an offcut by its photo: what was found is looked at before it is booked');
await page.goto(link);
await page.goto(to('/stock'));
await page.locator('summary', { hasText: 'Add an offcut' }).click();
await page.setInputFiles('#file', join(demo, 'heel-rest.jpg'));
await page.waitForSelector('.offcut-photo svg', { timeout: 120000 });
await sound('found');
await shot('found');
assert.equal(await page.locator('#book').count(), await page.locator('a[aria-current]').count(), 'no booking before the warp is said');
const waiting = await page.locator('form[hx-post$="/aside"]').getAttribute('hx-post');
const address = waiting.replace(/\/aside$/, '');
await page.goto(to(address));
const edges = await page.locator('.offcut-photo a').count();
assert.ok(edges >= 1, 'straight edges to choose from');
assert.match(await (await page.request.get(to(`${address}/check`))).text(), /^<\?xml|^<svg/);
await page.locator('.offcut-photo a').first().click();
await page.waitForSelector('#book');
await sound('warp');
await shot('warp');
assert.equal(await page.locator('.choices [aria-current]').count(), 1);
await page.fill('#offcut-cloth', 'ud-200');
await page.fill('#offcut-batch', 'T204-31');
await page.fill('#offcut-place', 'drawer 3');
await page.locator('[hx-post$="/book"] button').click();
assert.equal(await page.locator('.offcuts .card').count(), 0, 'not before it is said that size and warp are right');
await page.locator('[name=sure]').check();
await page.locator('[hx-post$="/book"] button').click();
await page.waitForSelector('text=Booked as off-1.');
await sound('booked');
await shot('booked');

say('its label, printed, and read: turned, blurred and dim');
const pdf = join(workshop, 'label.pdf');
writeFileSync(pdf, await (await page.request.get(to('/stock/labels?id=off-1'))).body());
execFileSync('pdftoppm', ['-r', '200', '-png', '-singlefile', pdf, join(workshop, 'label')]);
const printed = readFileSync(join(workshop, 'label.png')).toString('base64');
/** The label as a camera sees it: JPEG. */
const maker = await browser.newPage({ viewport: { width: 900, height: 700 } });
await maker.setContent(`<img src="data:image/png;base64,${printed}">`);
await maker.waitForFunction(() => document.images[0].complete);
const label = async (turn, blur, light, size) => {
  const data = await maker.evaluate(([turn, blur, light, size]) => {
    const canvas = document.createElement('canvas');
    [canvas.width, canvas.height] = size;
    const pen = canvas.getContext('2d');
    pen.fillStyle = '#6b6255';
    pen.fillRect(0, 0, size[0], size[1]);
    pen.filter = `blur(${blur}px) brightness(${light})`;
    pen.translate(size[0] / 2, size[1] / 2);
    pen.rotate((turn * Math.PI) / 180);
    // The first label of the sheet, 99.1 by 38.1 mm at 15.15 mm from above, to fill four fifths.
    const sheet = document.images[0];
    const dots = sheet.naturalWidth / 210;
    const wide = 0.8 * size[0];
    pen.drawImage(sheet, 4 * dots, 15 * dots, 100 * dots, 38.5 * dots, -wide / 2, (-wide * 0.385) / 2, wide, wide * 0.385);
    return canvas.toDataURL('image/jpeg', 0.8).split(',')[1];
  }, [turn, blur, light, size]);
  return Buffer.from(data, 'base64');
};
const scan = async (name, bytes, looked = page, base = link) => {
  await looked.goto(new URL('/stock/scan', base).href);
  await looked.setInputFiles('#label-picture', { name: `${name}.jpg`, mimeType: 'image/jpeg', buffer: bytes });
};
for (const [turn, blur, light] of [[0, 0, 1], [7, 1, 0.6], [-12, 1.5, 0.45], [95, 1, 0.7], [180, 1, 0.5]]) {
  await scan('label', await label(turn, blur, light, [1200, 900]));
  await page.waitForURL(/\/stock\/item\/off-1$/, { timeout: 20000 });
}
await scan('far', await label(5, 1, 0.6, [4000, 3000]));
await page.waitForURL(/\/stock\/item\/off-1$/, { timeout: 30000 });
assert.match(await page.locator('.place').innerText(), /drawer 3/);
await sound('item');
await shot('item');

say('and by the camera of this computer');
const frame = await label(4, 0.7, 0.8, [640, 480]);
writeFileSync(film, Buffer.concat(Array(60).fill(frame)));
await page.goto(to('/stock/scan'));
await sound('scan');
await shot('scan');
await page.getByRole('button', { name: 'Use the camera' }).click();
await page.waitForURL(/\/stock\/item\/off-1$/, { timeout: 30000 });

say('no code, no picture, another code, a damaged label, another ledger: each is told');
await scan('blank', await label(0, 60, 0.5, [600, 450]));
await page.waitForFunction(() => /No code was found/.test(document.querySelector('label-scan')?.textContent ?? ''));
await scan('broken', Buffer.from('no picture at all'));
await page.waitForFunction(() => /no picture/.test(document.querySelector('label-scan')?.textContent ?? ''));
await page.goto(to('/'));
await page.locator('summary', { hasText: 'A second device' }).click();
const other = await page.locator('svg.code').screenshot();
const phoneLink = await page.locator('details code').innerText();
await scan('other', other);
await page.waitForSelector('text=is no label of rolls or offcuts');
await sound('no label');
await shot('no-label');
for (const [text, said] of [['WARPWISE1 77777777 off-1', 'another ledger'], ['WARPWISE1 x', 'damaged']]) {
  await page.goto(to(`/stock/label?text=${encodeURIComponent(text)}`));
  await page.waitForSelector(`text=${said}`);
}
await page.goto(to('/stock/label?id=off-99'));
await page.waitForSelector('text=no roll or offcut');

say('which offcuts take a piece: the smallest first, the piece lying in it');
await page.goto(to('/stock'));
for (const [length, width] of [['900', '500'], ['320', '140'], ['140', '320'], ['290', '400']]) {
  await page.locator('summary', { hasText: 'Add an offcut' }).click();
  for (const [name, value] of [['cloth', 'ud-200'], ['length', length], ['width', width]]) await page.fill(`#offcut-${name}`, value);
  const count = await page.locator('.offcuts .card').count();
  await page.locator('details[open] button.add').click();
  await page.waitForFunction((n) => document.querySelectorAll('.offcuts .card').length === n, count + 1);
}
await page.goto(to('/job/tub/plies'));
await page.getByText('Which offcuts take it?').first().click();
await page.waitForSelector('.offcuts .laid');
const takers = await page.locator('.offcuts .card b').allInnerTexts();
assert.ok(takers.includes('off-3') && takers.includes('off-2') && !takers.includes('off-4') && !takers.includes('off-5'), String(takers));
assert.ok(takers.indexOf('off-3') < takers.indexOf('off-2'));
await sound('takers');
await shot('takers');

say('found by size, all to one scale');
await page.goto(to('/stock'));
const box = (id) => page.locator('.offcuts .card', { hasText: id }).locator('svg');
const [two, three] = [await box('off-2').boundingBox(), await box('off-3').boundingBox()];
assert.ok(Math.abs((two.width - 6) / (three.width - 6) - 900 / 320) < 0.02, 'one scale');
await page.fill('#holds-along', '800');
await page.locator('#holds-along').press('Tab');
await page.waitForFunction(() => document.querySelectorAll('.offcuts .card').length === 1);
await shot('by-size');
await page.fill('#holds-along', '');
await page.fill('#find', 'drawer');
await page.waitForFunction(() => document.querySelectorAll('.offcuts .card').length === 1);

say('used up, undone, thrown away with the reason');
await page.goto(to('/stock/item/off-3'));
await page.fill('#why-used', 'tub');
await page.getByRole('button', { name: 'Use it up' }).click();
await page.waitForSelector('text=off-3 is booked out');
await page.getByRole('button', { name: /Undo the last change/ }).click();
await page.waitForSelector('.offcuts .card:has-text("off-3")');
await page.goto(to('/stock/item/off-3'));
await page.fill('#why-thrown', 'folded');
await page.getByRole('button', { name: 'Throw it away' }).click();
await page.waitForSelector('text=off-3 is booked out');
await sound('gone');
await page.goto(to('/stock/item/off-3'));
await page.waitForSelector('text=threw away off-3: folded');
await shot('gone');

say('a phone sends a photo and reads a label; it books nothing in');
const phone = await (await browser.newContext({ viewport: { width: 360, height: 780 }, colorScheme: 'dark' })).newPage();
watch(phone);
await phone.goto(phoneLink);
await phone.goto(new URL('/stock', phoneLink).href);
await sound('the stock on the phone', phone);
await phone.setInputFiles('#file', join(demo, 'heel-rest.jpg'));
await phone.waitForSelector('.offcut-photo svg', { timeout: 120000 });
await sound('found on the phone', phone);
await shot('phone-found', phone);
assert.equal(await phone.locator('[hx-post]').count(), 0);
await scan('label', await label(3, 1, 0.7, [1200, 900]), phone, phoneLink);
await phone.waitForURL(/\/stock\/item\/off-1$/, { timeout: 20000 });
await sound('item on the phone', phone);
await shot('phone-item', phone);
await phone.fill('#why-thrown', 'past its time');
await phone.getByRole('button', { name: 'Throw it away' }).click();
await phone.waitForSelector('text=off-1 is booked out');
await phone.close();
await page.goto(to('/stock'));
await page.waitForSelector('text=Waiting for you to check');
await page.locator('a[href^="/stock/photo/"]').click();
await page.waitForSelector('.offcut-photo svg');
await page.waitForLoadState('networkidle');
await page.getByRole('button', { name: /Put it aside/ }).click();
await page.waitForFunction(() => document.querySelector('#offcuts') && !/Waiting for you to check/.test(document.body.textContent ?? ''));

say('every page fits, in light and dark, in both languages');
await page.locator('summary', { hasText: 'Add an offcut' }).click();
await page.setInputFiles('#file', join(demo, 'heel-rest.jpg'));
await page.waitForSelector('.offcut-photo svg', { timeout: 120000 });
const last = (await page.locator('form[hx-post$="/aside"]').getAttribute('hx-post')).replace(/\/aside$/, '');
const shown = ['/stock', '/stock/scan', '/stock/item/off-2', `${last}?warp=edge-1`, '/job/tub/takers?piece=1.1'];
await page.goto(to('/job/tub/plies'));
shown[4] = await page.getByText('Which offcuts take it?').first().getAttribute('href');
for (const [size, scheme, language] of [[360, 'light', 'de'], [800, 'dark', 'en'], [1600, 'dark', 'de']]) {
  await page.setViewportSize({ width: size, height: 900 });
  await page.emulateMedia({ colorScheme: scheme });
  await page.goto(to(`/language?to=${language}`));
  for (const path of shown) {
    await page.goto(to(path));
    const wide = await page.evaluate(() => document.scrollingElement.scrollWidth);
    assert.ok(wide <= size + 1, `${path} is ${wide} px wide on ${size}`);
    await sound(`${path} at ${size}, ${scheme}`);
    await shot(`${size}-${scheme}${path.replace(/\W+/g, '-').slice(0, 30)}`);
  }
}
assert.deepEqual(wrong, []);
await browser.close();
server.kill('SIGINT');
await new Promise((resolve) => server.once('exit', resolve));
writeFileSync(1, 'the box: by photo, label read, used, thrown away, undone, and which takes a piece\n');

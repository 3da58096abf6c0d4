// A day at the bench in Chromium: 12 pieces cut with one spoiled, one taken back and one off a flaw, the network gone a while, laid layer by
// layer with a debulk clock that runs over a reload, a bag check, a cure, and the record at the end. A phone ticks beside it.
// `node bench.mjs WARPWISE CHROMIUM [PICTURES]`.
import assert from 'node:assert/strict';
import { spawn } from 'node:child_process';
import { existsSync, mkdirSync, mkdtempSync, readFileSync, readdirSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import AxeBuilder from '@axe-core/playwright';
import { chromium } from 'playwright-core';

const [warpwise, chrome, pictures] = process.argv.slice(2);
const workshop = mkdtempSync(join(tmpdir(), 'workshop-'));
mkdirSync(join(workshop, 'tub'));
const layer = (angle) => `[[layer]]\ncloth = "twill-200"\nangle = ${angle}\ntemplates = ["side", "floor", "rib"]\n`;
writeFileSync(join(workshop, 'tub', 'job.toml'), `stock = "../stock.sqlite"
[job]
name = "tub"
[[cloth]]
id = "twill-200"
name = "Twill 200"
weave = "twill 2/2"
twill_line = 45
up = "paper"
roll_width = 1250
selvedge = 10
[[strip]]
id = "side"
length = 900
width = 240
[[strip]]
id = "floor"
length = 620
width = 380
[[strip]]
id = "rib"
length = 300
width = 120
${[0, 45, -45, 0].map(layer).join('')}[debulk]
first = true
every = 9
last = false
minutes = 0.1
[[cure]]
to = 80
rate = 2
hold = 60
`);

const server = spawn(warpwise, ['bench', workshop, '--no-open', '--on-network=127.0.0.1'], { env: { ...process.env, XDG_DATA_HOME: join(workshop, 'data') } });
const link = await new Promise((resolve, reject) => {
  server.stdout.once('data', (line) => resolve(String(line).trim()));
  server.once('exit', () => reject(new Error('the server ended')));
});
const browser = await chromium.launch({ executablePath: chrome, args: ['--no-sandbox'] });
const context = await browser.newContext({ viewport: { width: 800, height: 1100 } });
const page = await context.newPage();
const wrong = [];
let axeRuns = false;
const watch = (p) => {
  p.on('pageerror', (e) => wrong.push(`error: ${e.message}`));
  p.on('console', (m) => {
    if (m.type() === 'error' && !axeRuns && !/ERR_INTERNET|ERR_NETWORK|inline style/.test(m.text())) wrong.push(`console: ${m.text()}`);
  });
  p.on('response', (r) => {
    if (r.status() >= 400) wrong.push(`${r.status()} ${r.url()}`);
  });
};
watch(page);
const say = (what) => console.log(`   ${what}`);
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

const to = (path) => new URL(path, link).href;
await page.goto(link);
await page.goto(to('/stock'));
await page.getByText('Add a roll').click();
for (const [name, value] of [['cloth', 'twill-200'], ['width', '1250'], ['length', '9 m'], ['batch', 'T204-31'], ['out_life', '480']]) await page.fill(`#roll-${name}`, value);
await page.locator('details[open] button.add').click();
await page.waitForSelector('.card.roll');
await page.goto(to('/job/tub/plan'));
await page.fill('#seconds', '0.5');
await page.click('button.go');
await page.waitForSelector('figure.overview', { timeout: 120000 });
await page.waitForFunction(() => !document.querySelector('plan-watch'), null, { timeout: 120000 });
// In the box after the plan was made, so that only a piece that is spoiled goes there.
await page.goto(to('/stock'));
await page.getByText('Add an offcut').click();
for (const [name, value] of [['cloth', 'twill-200'], ['length', '320'], ['width', '140']]) await page.fill(`#offcut-${name}`, value);
await page.locator('details[open] button.add').click();
await page.waitForSelector('.offcuts .card');

say('twelve pieces, large, in the order of cutting');
await page.goto(to('/job/tub/plan'));
await page.click('#rail a[href$="/cut"]');
await page.waitForSelector('cutting-list .count');
const count = () => page.locator('.now .count').innerText();
const number = () => page.locator('.now .number').innerText();
// Two taps near to each other are one.
const tap = async (what) => {
  await page.waitForTimeout(400);
  await page.locator(what).click();
};
const saved = () => page.waitForFunction(() => document.querySelector('.unsent')?.textContent === '' && !document.querySelector('cutting-list')?.queue?.sending);
const states = async () => (await page.request.get(to('/job/tub/bench/state'))).json().then((s) => s.states);
const planId = () => JSON.parse(readFileSync(join(workshop, 'tub', 'plan', 'plan.json'), 'utf8')).id;
assert.match(await count(), /^0 of 12/);
await sound('at the bench');
await shot('bench');
for (const tap of ['.tap.cut', '.tap.spoiled']) assert.ok((await page.locator(tap).boundingBox()).height >= 60, 'for gloved fingers');
// A glove that taps twice means one piece.
await page.locator('.tap.cut').dblclick();
await saved();
assert.match(await count(), /^1 of 12/);
assert.equal(Object.keys(await states()).length, 1);
say('one by mistake, taken back by one tap');
const second = await number();
await tap('.tap.cut');
await tap('.tap.undo');
await saved();
assert.equal(await number(), second);
assert.equal(Object.keys(await states()).length, 1);

say('a rib is spoiled: it is cut again from the offcut, the rest stays');
const before = planId();
// One along the warp, which the offcut takes.
const alongWarp = page.locator('li.is-tocut:is([data-number="1.3"], [data-number="4.3"])');
await alongWarp.first().locator('button').click();
const spoiled = await number();
await tap('.tap.spoiled');
await page.waitForSelector('text=is cut again, from off-1', { timeout: 60000 });
assert.notEqual(planId(), before);
await sound('cut again');
await shot('cut-again');
assert.match(await page.locator('.now .last').innerText(), /spoiled, saved[^]*Undo/);
say('it was sound after all: the plan is the one before; then it is spoiled indeed');
await page.locator(`li[data-number="${spoiled}"] button`).click();
await page.locator('.tap.back').click();
await page.waitForFunction(() => !document.body.textContent?.includes('is cut again'), null, { timeout: 60000 });
assert.equal(planId(), before);
await page.locator(`li[data-number="${spoiled}"] button`).click();
await page.locator('.tap.spoiled').click();
await page.waitForSelector('text=is cut again, from off-1', { timeout: 60000 });

say('a flaw is found on the roll: what lies on it and is not cut goes elsewhere, and cutting goes on');
const plan = () => JSON.parse(readFileSync(join(workshop, 'tub', 'plan', 'plan.json'), 'utf8'));
const places = () => plan().stocks.flatMap((s) => s.placed.map((p) => [`${p.piece}#${p.copy}`, `${s.id} ${p.x} ${p.y}`]));
const known = await states();
const flawed = plan().stocks.find((s) => s.id === 'roll-1').placed.find((p) => !(`${p.piece}#${p.copy}` in known));
const [was, id] = [new Map(places()), planId()];
await page.locator('a', { hasText: 'A flaw on the roll' }).click();
await page.waitForSelector('cut-table .piece');
await sound('a flaw while cutting');
const index = await page.evaluate(([piece, copy]) => {
  const cloth = document.querySelector('cut-table').now;
  return cloth.layout.lying.findIndex((l) => cloth.ids[l[0]] === piece && l[1] + 1 === copy);
}, [flawed.piece, flawed.copy]);
const lying = page.locator(`cut-table .piece[data-index="${index}"]`);
await lying.scrollIntoViewIfNeeded();
const spot = await lying.boundingBox();
await page.locator('button[data-does=flaw]').click();
await page.mouse.move(spot.x + spot.width / 2 - 6, spot.y + spot.height / 2 - 6);
await page.mouse.down();
await page.mouse.move(spot.x + spot.width / 2 + 6, spot.y + spot.height / 2 + 6, { steps: 4 });
await page.mouse.up();
await page.waitForURL(/\/cut$/, { timeout: 60000 });
await page.waitForSelector('cutting-list .count');
assert.notEqual(planId(), id);
const moved = places().filter(([at, place]) => was.get(at) !== place).map(([at]) => at);
assert.ok(moved.includes(`${flawed.piece}#${flawed.copy}`), 'what lay on the flaw lies elsewhere');
assert.ok(moved.every((at) => !(at in known) || known[at] === 'again'), 'what is cut stays');
assert.deepEqual(await states(), known, 'nothing is called spoiled for it');
await shot('flaw');
await page.goto(to('/stock/item/roll-1'));
await page.getByText('Remove this flaw').first().waitFor();
await sound('flaws of a roll');
await shot('flaws');
await page.goto(to('/job/tub/cut'));
await page.waitForSelector('cutting-list .count');
assert.match(await count(), /^1 of 12/);

say('the network drops: ticks wait here, and are sent in their order');
await context.setOffline(true);
for (let k = 0; k < 5; k += 1) await tap('.tap.cut');
await tap('.tap.undo');
assert.match(await page.locator('.unsent').innerText(), /Not sent yet: 6/);
assert.match(await count(), /^5 of 12/);
await sound('offline');
await shot('offline');
assert.equal(Object.values(await states()).filter((s) => s === 'cut').length, 1, 'nothing got through');
await context.setOffline(false);
await saved();
await page.waitForFunction(() => !document.querySelector('cutting-list')?.classList.contains('waits'));
assert.equal(Object.values(await states()).filter((s) => s === 'cut').length, 5);

say('a phone beside it ticks one, and is seen here');
await page.goto(to('/'));
await page.locator('summary', { hasText: 'A second device' }).click();
const phone = await (await browser.newContext({ viewport: { width: 360, height: 780 }, colorScheme: 'dark' })).newPage();
watch(phone);
await phone.goto(await page.locator('details code').innerText());
await phone.click('a.job');
await phone.click('a[href$="/cut"]');
await page.goto(to('/job/tub/cut'));
await phone.waitForSelector('cutting-list .count');
await sound('the phone', phone);
await shot('phone', phone);
assert.ok((await phone.evaluate(() => document.scrollingElement.scrollWidth)) <= 361);
await phone.locator('.tap.cut').click();
await page.waitForFunction(() => /^6 of 12/.test(document.querySelector('.now .count')?.textContent ?? ''), null, { timeout: 20000 });
await phone.click('a[href$="/all"]');
await phone.click('a[href$="/lay"]');
await phone.waitForSelector('lay-up');
await sound('the lay-up on the phone', phone);
await shot('phone-lay', phone);
assert.equal(await phone.locator('textarea').count(), 0, 'nothing is written down there');
await phone.close();
while (!/All is cut/.test(await count())) {
  await tap('.tap.cut');
  await saved();
}
assert.deepEqual(new Set(Object.values(await states())), new Set(['cut']));
await shot('all-cut');

say('laid layer by layer; what is still open is asked about');
await page.click('#rail a[href$="/lay"]');
await page.waitForSelector('lay-up .step.now');
await sound('lay-up');
await shot('lay-up');
const settled = async () => {
  await page.waitForFunction(() => document.querySelector('.unsent')?.textContent === '');
  await page.waitForLoadState('networkidle');
};
/** Ticks a box of the step that is under way, and waits until the page says so. */
const ticks = async (what, nth) => {
  const box = page.locator(`.step.now input[id^="${what}-"]`).nth(nth);
  const id = await box.getAttribute('id');
  await box.click();
  return id;
};
const isOn = (id) => page.waitForFunction((i) => document.getElementById(i)?.checked && document.querySelector('.unsent')?.textContent === '', id, { timeout: 20000 });
await page.fill('#note-0-', 'not kept yet');
await page.locator('#check-0-0').click();
await page.waitForFunction(() => /1\/7/.test(document.querySelector('.checks summary')?.textContent ?? ''));
assert.equal(await page.inputValue('#note-0-'), 'not kept yet', 'what is typed stays');
assert.equal(await page.locator('.checks').getAttribute('open'), '', 'and what was open stays open');
await page.fill('#note-0-', '');
await page.fill('#who-0', 'R.');
await page.fill('#part-0', 'no. 7');
await page.locator('#part-0').blur();
await settled();
for (let k = 0; k < 3; k += 1) {
  await isOn(await ticks('laid', k));
  if (k < 2) await isOn(await ticks('backing', k));
}
// The debulk is next; one backing is not off.
await page.locator('.step', { hasText: 'Debulk 1' }).locator('summary').click();
await page.locator('.step', { hasText: 'Debulk 1' }).locator('button', { hasText: 'Begin' }).click();
await page.waitForSelector('dialog[open]');
assert.match(await page.locator('dialog').innerText(), /has no tick for its backing/);
await sound('asked');
await shot('asked');
await page.locator('dialog .no').click();
await page.waitForFunction(() => !document.querySelector('dialog[open]'));
await isOn(await ticks('backing', 2));
await page.waitForSelector('.step.now:has-text("Debulk 1")');
say('a debulk clock runs over a reload, and rings');
await page.locator('.step.now input[name=vacuum]').fill('82');
await page.locator('.step.now button', { hasText: 'Begin' }).click();
await page.waitForSelector('bench-clock .time:not(:empty)');
const ends = await page.locator('bench-clock').getAttribute('data-ends');
await shot('debulk');
await page.reload();
await page.waitForSelector('bench-clock .time:not(:empty)');
assert.equal(await page.locator('bench-clock').getAttribute('data-ends'), ends);
await page.waitForSelector('bench-clock.over', { timeout: 30000 });
assert.match(await page.locator('bench-clock').innerText(), /is over/);
assert.match(await page.title(), /^●/);
await sound('rung');
await shot('rung');
await page.locator('.step.now input[name=vacuum]').fill('81,5');
await page.locator('.step.now button', { hasText: 'End it' }).click();
await page.waitForSelector('.step.now:has-text("Layer 2")');
assert.doesNotMatch(await page.title(), /●/);
for (let l = 2; l <= 4; l += 1) {
  await page.waitForSelector(`.step.now:has-text("Layer ${l}")`);
  for (let k = 0; k < 3; k += 1) {
    await isOn(await ticks('laid', k));
    const last = await ticks('backing', k);
    if (k < 2) await isOn(last);
    else await settled();
  }
}
say('notes and photos by layer');
await page.locator('.step', { hasText: 'Layer 2' }).locator('summary').click();
const step = page.locator('.step', { hasText: 'Layer 2' });
await step.locator('.mould svg').first().waitFor();
await step.locator('textarea').fill('a pleat at the rib, rolled out');
await step.locator('textarea').blur();
await settled();
const photo = await page.evaluate(() => {
  const canvas = document.createElement('canvas');
  [canvas.width, canvas.height] = [2400, 1600];
  const pen = canvas.getContext('2d');
  pen.fillStyle = '#446';
  pen.fillRect(0, 0, 2400, 1600);
  return canvas.toDataURL('image/png').split(',')[1];
});
await page.locator('.step', { hasText: 'Layer 2' }).locator('input[type=file]').setInputFiles({ name: 'layer.png', mimeType: 'image/png', buffer: Buffer.from(photo, 'base64') });
await page.waitForSelector('.photos img', { state: 'attached' });

say('bag check, cure, record');
const bag = page.locator('.lay-up > .card', { has: page.locator('input[name=minutes]') });
if (!(await bag.locator('input[name=minutes]').isVisible())) await bag.locator('summary').click();
await bag.locator('input[name=minutes]').fill('1');
await bag.locator('input[name=vacuum]').fill('85');
await bag.locator('button', { hasText: 'Begin' }).click();
await page.waitForSelector('.lay-up > .card bench-clock');
await page.locator('.lay-up > .card input[name=vacuum]').first().fill('85');
await page.locator('button', { hasText: 'End it' }).click();
await page.waitForSelector('.tag:has-text("passed")', { state: 'attached' });
await page.locator('button', { hasText: 'Begin: Cure' }).click();
await page.waitForSelector('bench-clock[data-name=Cure]');
await sound('cure');
await shot('cure');
await page.locator('button', { hasText: 'Write the record' }).click();
await page.waitForSelector('.written a');
const kit = join(workshop, 'tub', 'kits', readdirSync(join(workshop, 'tub', 'kits'))[0]);
const record = readFileSync(join(kit, 'record.html'), 'utf8');
for (const said of ['part no. 7', 'Laid up by R.', 'T204-31', 'of 480 h', 'a pleat at the rib', 'cut again from off-1', 'Bag check was ended after', 'data:image/jpeg']) {
  assert.ok(record.includes(said), said);
}
assert.ok(!record.includes('Debulk 1 was'), 'it ran its time');
assert.equal(readFileSync(join(kit, 'record.pdf')).subarray(0, 4).toString(), '%PDF');
const shown = await context.newPage();
// As a file: from the server it comes without the power to run anything.
await shown.goto(`file://${join(kit, 'record.html')}`);
await sound('the record', shown);
await shot('record', shown);
await shown.close();

say('all is booked by its ticks; the last change can be taken back, and made again');
await page.goto(to('/'));
await page.getByText('laid and on record').waitFor();
await page.goto(to('/job/tub/sheets'));
await page.getByText('All 12 pieces of this plan are booked already').waitFor();
assert.equal(await page.getByRole('button', { name: 'Show what would change' }).count(), 0);
await page.goto(to('/stock'));
await page.getByRole('button', { name: 'Undo the last change' }).click();
await page.waitForFunction(() => !document.querySelector('#message .fault'));
await page.waitForLoadState('networkidle');
assert.equal(Object.values(await states()).filter((s) => s === 'laid').length, 11);

say('both pages fit a phone, a tablet and a wide screen, in light and dark, in both languages');
for (const [size, scheme, language] of [[360, 'light', 'de'], [800, 'dark', 'en'], [1600, 'light', 'en'], [1600, 'dark', 'de']]) {
  await page.setViewportSize({ width: size, height: 900 });
  await page.emulateMedia({ colorScheme: scheme });
  await page.goto(to(`/language?to=${language}`));
  for (const name of ['cut', 'lay']) {
    await page.goto(to(`/job/tub/${name}`));
    await page.waitForSelector('cutting-list .count, lay-up .step');
    const wide = await page.evaluate(() => document.scrollingElement.scrollWidth);
    assert.ok(wide <= size + 1, `${name} is ${wide} px wide on ${size}`);
    await sound(`${name} at ${size}, ${scheme}`);
    await shot(`${size}-${scheme}-${name}`);
  }
}
assert.deepEqual(wrong, []);
await browser.close();
server.kill('SIGINT');
await new Promise((resolve) => server.once('exit', resolve));
assert.ok(existsSync(join(workshop, 'tub', 'plan', 'plan.json')));
writeFileSync(1, 'the bench: twelve pieces cut, one again, one off a flaw, laid, cured, booked, on record and undone\n');

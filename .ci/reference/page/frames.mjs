// How long one frame of the live layout takes: a thousand pieces on a wide screen. `node frames.mjs CHROMIUM`.
import { readFileSync } from 'node:fs';
import { chromium } from 'playwright-core';

const script = readFileSync(new URL('../../../assets/bench/plan-picture.js', import.meta.url), 'utf8');
const style = readFileSync(new URL('../../../assets/bench/page.css', import.meta.url), 'utf8');
const browser = await chromium.launch({ executablePath: process.argv[2], args: ['--no-sandbox'] });
const page = await browser.newPage({ viewport: { width: 1600, height: 900 } });
await page.setContent(`<style>${style}</style><cloth-picture></cloth-picture>`);
await page.addScriptTag({ content: script, type: 'module' });
await page.waitForFunction(() => customElements.get('cloth-picture'));
const frames = await page.evaluate(async () => {
  const ring = (k) => Array.from({ length: 60 }, (_, i) => {
    const a = (i / 60) * 2 * Math.PI;
    const r = 55 * (1 + 0.2 * Math.cos(2 * a + k));
    return [60 + r * Math.cos(a), 60 + 0.7 * r * Math.sin(a)];
  });
  const pieces = Array.from({ length: 1000 }, (_, k) => ({ number: `${1 + (k % 4)}.${k}`, layer: 1 + (k % 4), angle: 45, rings: [ring(k)], middle: [60, 60], room: 35 }));
  const lying = (turn) => pieces.map((_, k) => [k, 0, 0, turn, k % 2, 20 + 115 * Math.floor(k / 10), (k % 2 ? 125 : 10) + 120 * (k % 10) + turn / 9]);
  const layout = (turn) => ({ lying: lying(turn), ends: [], left: [] });
  const picture = document.querySelector('cloth-picture');
  picture.begin({ cloth: 'twill', least_length: 9000, pieces, stocks: [{ id: 'roll-1', rings: [], width: 1250, length: null, selvedge: 10, flaws: [] }] });
  picture.show(layout(0));
  const begun = performance.now();
  let count = 0;
  while (performance.now() - begun < 5000) {
    // Always another layout, so that every frame moves every piece.
    picture.show(layout((count * 7) % 90));
    await new Promise((done) => requestAnimationFrame(done));
    count += 1;
  }
  return (1000 * count) / (performance.now() - begun);
});
console.log(`a thousand pieces: ${frames.toFixed(0)} frames a second`);
await browser.close();

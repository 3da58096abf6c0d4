// @ts-check
// The thrown picture: draws what the server gives in pixels of the projector, lets crosses be dragged, and tells keys and taps.
// Which line lies where is for the server to say.
import { SVG, button, make } from './made.js';

/**
 * @typedef {[number, number]} Point
 * @typedef {{kind: string, light: string, pen: number, spoken: string, crosses?: Point[], dots?: [number, number, number][],
 *   lines?: {kind: string, points: Point[]}[], texts?: {matrix: number[], size: number, width: number, words: string}[]}} Light
 */

const KEPT = 'warpwise.keys';
const ACTIONS = ['next', 'previous', 'next-window', 'previous-window'];
/** @type {Record<string, string>} */
const USUAL = { ' ': 'next', Enter: 'next', PageDown: 'next', ArrowRight: 'next', PageUp: 'previous', ArrowLeft: 'previous', Backspace: 'previous', ArrowDown: 'next-window', ArrowUp: 'previous-window' };

/** Keys that were learnt. @returns {Record<string, string>} */
function learnt() {
  try {
    return JSON.parse(localStorage.getItem(KEPT) ?? '{}');
  } catch {
    return {};
  }
}

/** A key as it is kept: foot pedals send letters too. @param {KeyboardEvent} event */
const named = (event) => (event.key === 'Unidentified' || event.key === 'Process' ? event.code : event.key);

/** What a key does, if anything. @param {KeyboardEvent} event */
function action(event) {
  if (event.ctrlKey || event.metaKey || event.altKey) return undefined;
  return learnt()[named(event)] ?? USUAL[event.key];
}

/** @param {string} to */
const step = (to) => fetch('/projector/step', { method: 'POST', body: new URLSearchParams({ to }) });

/** Hears of changes; what has broken off is looked at anew once it is back. @param {() => void} heard */
function watch(heard) {
  const source = new EventSource('/projector/watch');
  source.addEventListener('thrown', heard);
  window.addEventListener('pagehide', () => source.close());
  return source;
}

class ProjectorView extends HTMLElement {
  /** @type {Record<string, string>} */
  words = {};
  svg = document.createElementNS(SVG, 'svg');
  said = document.createElement('p');
  spoken = document.createElement('p');
  kind = '';
  light = '#ffffff';
  /** @type {Point[]} */
  crosses = [];
  picked = 0;
  /** @type {Point | null} */
  held = null;
  asked = 0;
  /** @type {number | undefined} */
  later = undefined;

  connectedCallback() {
    this.words = JSON.parse(this.dataset.words ?? '{}');
    this.svg.setAttribute('role', 'img');
    this.svg.setAttribute('preserveAspectRatio', 'none');
    this.svg.setAttribute('aria-label', this.words.picture);
    this.said.className = 'said';
    this.said.setAttribute('role', 'status');
    this.spoken.className = 'only-read';
    this.spoken.setAttribute('aria-live', 'polite');
    this.append(this.svg, this.said, this.spoken);
    this.svg.addEventListener('pointerdown', (event) => this.down(event));
    this.svg.addEventListener('pointermove', (event) => this.move(event));
    this.svg.addEventListener('pointerup', (event) => this.up(event));
    document.addEventListener('keydown', (event) => this.key(event));
    window.addEventListener('resize', () => this.look());
    const source = watch(() => this.look());
    source.addEventListener('error', () => this.failed());
  }

  /** The window's size in pixels of the display: the projector's own. @returns {Point} */
  size() {
    return [Math.round(window.innerWidth * window.devicePixelRatio), Math.round(window.innerHeight * window.devicePixelRatio)];
  }

  /** A place of the pointer in the picture. @param {PointerEvent} event @returns {Point} */
  at(event) {
    const [w, h] = this.size();
    return [(event.clientX / window.innerWidth) * w, (event.clientY / window.innerHeight) * h];
  }

  /** Asks what is thrown and throws it. */
  async look() {
    const asked = ++this.asked;
    const [w, h] = this.size();
    try {
      const answer = await fetch(`/projector/light?w=${w}&h=${h}`);
      const told = await answer.json();
      if (asked !== this.asked) return;
      if (answer.ok) this.throw(told, w, h);
      else this.dark(told.join(' '));
    } catch {
      if (asked === this.asked) this.failed();
    }
  }

  /** What no server stands behind is not thrown on cloth. */
  failed() {
    this.dark(this.words.failed);
  }

  /** @param {string} words */
  dark(words) {
    this.kind = '';
    this.svg.replaceChildren();
    this.said.textContent = words;
    this.spoken.textContent = '';
  }

  /** @param {Light} told @param {number} w @param {number} h */
  throw(told, w, h) {
    this.kind = told.kind;
    this.light = told.light;
    this.svg.setAttribute('viewBox', `0 0 ${w} ${h}`);
    this.svg.replaceChildren();
    this.said.textContent = told.kind === 'dark' && !document.fullscreenElement ? this.words.hint : '';
    this.spoken.textContent = told.spoken;
    this.svg.setAttribute('aria-label', [this.words.picture, told.spoken].join(' '));
    for (const [x, y, r] of told.dots ?? []) make('circle', { cx: x, cy: y, r, fill: told.light }, this.svg);
    for (const line of told.lines ?? []) {
      const pen = line.kind === 'cut' ? told.pen : Math.max(1, told.pen / 2);
      make('polyline', { class: line.kind, points: line.points.join(' '), stroke: told.light, 'stroke-width': pen }, this.svg);
    }
    for (const text of told.texts ?? []) {
      const made = make('text', { transform: `matrix(${text.matrix.join(' ')})`, 'font-size': text.size, fill: told.light }, this.svg);
      made.textContent = text.words;
      // Letters of another font than was reckoned with are drawn together, so that they meet no line.
      if (/** @type {SVGTextElement} */ (made).getComputedTextLength() > text.width) {
        made.setAttribute('textLength', String(text.width));
        made.setAttribute('lengthAdjust', 'spacingAndGlyphs');
      }
    }
    if (told.kind === 'crosses' && !this.held) {
      this.crosses = told.crosses ?? [];
      this.picked = Math.min(this.picked, this.crosses.length - 1);
    }
    this.drawCrosses();
  }

  drawCrosses() {
    if (this.kind !== 'crosses') return;
    this.svg.replaceChildren();
    const [w, h] = this.size();
    for (const [i, [x, y]] of this.crosses.entries()) {
      const group = make('g', { class: i === this.picked ? 'cross picked' : 'cross', 'data-cross': i, stroke: this.light }, this.svg);
      const [long, short] = i === this.picked ? [60, 3] : [36, 3];
      make('circle', { cx: x, cy: y, r: 40, 'stroke-width': i === this.picked ? 2 : 1 }, group);
      // The middle is left free: there the mark is seen.
      const bars = [[-1, 0], [1, 0], [0, -1], [0, 1]].map(([a, b]) => `M${x + a * short} ${y + b * short}L${x + a * long} ${y + b * long}`);
      make('path', { d: bars.join(''), 'stroke-width': 1 }, group);
      // Towards the middle, where there is room.
      const beside = { x: x + (x < w / 2 ? 34 : -54), y: y + (y < h / 2 ? 50 : -34) };
      make('text', { ...beside, 'font-size': 24, fill: this.light }, group).textContent = String(i + 1);
    }
    this.spoken.textContent = `${this.words.mark} ${this.picked + 1}`;
  }

  /** @param {PointerEvent} event */
  down(event) {
    if (this.kind !== 'crosses') return;
    const at = this.at(event);
    const far = this.crosses.map(([x, y]) => Math.hypot(x - at[0], y - at[1]));
    const nearest = far.indexOf(Math.min(...far));
    if (nearest < 0 || far[nearest] > 60) return;
    this.picked = nearest;
    const [x, y] = this.crosses[nearest];
    this.held = [x - at[0], y - at[1]];
    this.svg.setPointerCapture(event.pointerId);
    this.drawCrosses();
  }

  /** @param {PointerEvent} event */
  move(event) {
    if (!this.held) return;
    const [x, y] = this.at(event);
    this.put(x + this.held[0], y + this.held[1]);
  }

  /** @param {PointerEvent} event */
  up(event) {
    if (this.held) {
      this.held = null;
      this.report();
    } else if (this.kind === 'lines') {
      step(event.clientX < window.innerWidth / 4 ? 'previous' : 'next');
    }
  }

  /** @param {number} x @param {number} y */
  put(x, y) {
    const [w, h] = this.size();
    this.crosses[this.picked] = [Math.min(Math.max(x, 0), w), Math.min(Math.max(y, 0), h)];
    this.drawCrosses();
  }

  async report() {
    try {
      const answer = await fetch('/projector/marks', { method: 'POST', body: JSON.stringify({ crosses: this.crosses }), headers: { 'content-type': 'application/json' } });
      // Others are shown by now.
      if (!answer.ok) this.look();
    } catch {
      this.failed();
    }
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    if (event.key === 'f' && !learnt().f) {
      if (document.fullscreenElement) document.exitFullscreen();
      else this.requestFullscreen();
    } else if (this.kind === 'crosses') this.nudge(event);
    else {
      const to = action(event);
      if (!to) return;
      event.preventDefault();
      step(to);
    }
  }

  /** @param {KeyboardEvent} event */
  nudge(event) {
    const ways = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const way = ways[/** @type {keyof typeof ways} */ (event.key)];
    const count = this.crosses.length;
    if (way) {
      const far = event.shiftKey ? 10 : event.altKey ? 0.25 : 1;
      const [x, y] = this.crosses[this.picked];
      this.put(x + far * way[0], y + far * way[1]);
      clearTimeout(this.later);
      this.later = setTimeout(() => this.report(), 150);
    } else if (event.key === 'Tab') this.picked = (this.picked + (event.shiftKey ? count - 1 : 1)) % count;
    else if (/^[1-9]$/.test(event.key) && Number(event.key) <= count) this.picked = Number(event.key) - 1;
    else return;
    event.preventDefault();
    this.drawCrosses();
  }
}

/** On the page of a job: shows what is thrown now, and takes the same keys. */
class ThrowWatch extends HTMLElement {
  connectedCallback() {
    let first = true;
    watch(() => {
      if (!first) /** @type {any} */ (window).htmx.ajax('GET', this.dataset.now, { target: this.dataset.target, swap: 'innerHTML' });
      first = false;
    });
    document.addEventListener('keydown', (event) => {
      const at = event.target;
      const typing = at instanceof HTMLInputElement || at instanceof HTMLSelectElement;
      const pressing = (at instanceof HTMLElement && at.closest('button, a, summary')) && [' ', 'Enter'].includes(event.key);
      // Arrow keys and the like are the page's own, but for those that were learnt.
      const to = typing || pressing ? undefined : action(event);
      if (!to || (!learnt()[named(event)] && ['ArrowDown', 'ArrowUp'].includes(event.key))) return;
      event.preventDefault();
      step(to);
    });
  }
}

/** Keys of pedals and clickers, kept in this browser. */
class KeyLearner extends HTMLElement {
  /** @type {Record<string, string>} */
  words = {};

  connectedCallback() {
    this.words = JSON.parse(this.dataset.words ?? '{}');
    this.show();
  }

  show() {
    const list = document.createElement('ul');
    for (const does of ACTIONS) {
      const row = document.createElement('li');
      const keys = Object.entries(learnt()).filter(([, to]) => to === does);
      const learn = button(`${this.words.learn}: ${this.words[does]}`, () => this.learn(learn, does));
      row.append(learn);
      for (const [key] of keys) {
        const shown = document.createElement('kbd');
        shown.textContent = key;
        row.append(shown);
      }
      list.append(row);
    }
    const usual = button(this.words.usual, () => {
      localStorage.removeItem(KEPT);
      this.show();
    });
    this.replaceChildren(list, usual);
  }

  /** @param {HTMLButtonElement} button @param {string} does */
  learn(button, does) {
    button.textContent = this.words.press;
    document.addEventListener('keydown', (event) => {
      event.preventDefault();
      event.stopPropagation();
      if (event.key !== 'Escape') localStorage.setItem(KEPT, JSON.stringify({ ...learnt(), [named(event)]: does }));
      this.show();
    }, { once: true, capture: true });
  }
}

customElements.define('projector-view', ProjectorView);
customElements.define('throw-watch', ThrowWatch);
customElements.define('key-learner', KeyLearner);

// @ts-check
// Four corners put on a photo by hand: dragged with a loupe beside the finger, or moved by keys. What they span is for the server to say.
import { SVG, button, make } from './made.js';

/** @typedef {{x: number, y: number}} Point */

class CardCorners extends HTMLElement {
  /** @type {Record<string, string>} */
  words = {};
  /** @type {Point[]} */
  corners = [];
  picked = 0;
  dragging = false;
  /** @type {Point | null} */
  ground = null;
  size = { width: 1, height: 1 };
  view = { x: 0, y: 0, w: 1, h: 1 };
  svg = document.createElementNS(SVG, 'svg');
  said = document.createElement('ul');
  /** @type {Element | null} */
  loupe = null;

  connectedCallback() {
    this.words = JSON.parse(this.dataset.words ?? '{}');
    const photo = new Image();
    photo.addEventListener('load', () => this.begin(photo.naturalWidth, photo.naturalHeight));
    photo.src = this.dataset.photo ?? '';
    const bar = document.createElement('p');
    for (const index of [0, 1, 2, 3]) button(`${this.words.corner} ${index + 1}`, () => this.pick(index), bar);
    button('＋', () => this.zoom(1 / 1.4), bar);
    button('－', () => this.zoom(1.4), bar);
    button(this.words.trace, () => this.send(), bar).classList.add('go');
    const canvas = document.createElement('div');
    canvas.className = 'canvas';
    this.svg.setAttribute('tabindex', '0');
    this.svg.setAttribute('role', 'application');
    this.svg.setAttribute('aria-label', this.words.corner);
    canvas.append(this.svg);
    this.said.className = 'faults';
    this.said.setAttribute('role', 'status');
    this.append(bar, this.said, canvas);
    this.svg.addEventListener('pointerdown', (event) => this.down(event));
    this.svg.addEventListener('pointermove', (event) => this.moved(event));
    for (const end of /** @type {const} */ (['pointerup', 'pointercancel'])) this.svg.addEventListener(end, () => this.up());
    this.svg.addEventListener('keydown', (event) => this.key(event));
    this.svg.addEventListener('wheel', (event) => {
      event.preventDefault();
      this.zoom(event.deltaY > 0 ? 1.2 : 1 / 1.2, this.place(event));
    }, { passive: false });
  }

  /** @param {number} width @param {number} height */
  begin(width, height) {
    this.size = { width, height };
    const at = (/** @type {number} */ x, /** @type {number} */ y) => ({ x: x * width, y: y * height });
    this.corners = [at(0.35, 0.35), at(0.65, 0.35), at(0.65, 0.65), at(0.35, 0.65)];
    this.view = { x: 0, y: 0, w: width, h: height };
    this.draw();
  }

  /** @param {number} index */
  pick(index) {
    this.picked = index;
    this.svg.focus();
    this.draw();
  }

  /** @param {number} by @param {Point} [about] */
  zoom(by, about = this.corners[this.picked]) {
    const { view } = this;
    if (!about || view.w * by > 2 * this.size.width || view.w * by < 40) return;
    this.view = { x: about.x - (about.x - view.x) * by, y: about.y - (about.y - view.y) * by, w: view.w * by, h: view.h * by };
    this.draw();
  }

  /** @param {{clientX: number, clientY: number}} event @returns {Point} */
  place(event) {
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.svg.getScreenCTM()?.inverse());
    return { x: at.x, y: at.y };
  }

  /** Pixels of the photo that a pixel of the screen shows. */
  get pixel() {
    const box = this.svg.getBoundingClientRect();
    return box.width > 0 ? Math.max(this.view.w / box.width, this.view.h / box.height) : 1;
  }

  draw() {
    const { svg, view, corners } = this;
    svg.setAttribute('viewBox', `${view.x} ${view.y} ${view.w} ${view.h}`);
    svg.replaceChildren();
    make('image', { href: this.dataset.photo, width: this.size.width, height: this.size.height }, this.svg);
    make('polygon', { points: corners.map((p) => `${p.x},${p.y}`).join(' ') }, this.svg);
    const r = 10 * this.pixel;
    corners.forEach((p, i) => {
      const picked = i === this.picked ? 'picked' : '';
      make('circle', { class: picked, cx: p.x, cy: p.y, r }, this.svg);
      for (const [dx, dy] of [[1, 0], [0, 1]]) {
        make('line', { x1: p.x - r * dx, y1: p.y - r * dy, x2: p.x + r * dx, y2: p.y + r * dy }, this.svg);
      }
      const number = make('text', { x: p.x + 1.3 * r, y: p.y - 1.3 * r, 'font-size': 1.6 * r }, this.svg);
      number.textContent = String(i + 1);
    });
  }

  /** @param {PointerEvent} event */
  down(event) {
    this.svg.setPointerCapture(event.pointerId);
    this.svg.focus({ preventScroll: true });
    const p = this.place(event);
    const far = this.corners.map((c) => Math.hypot(c.x - p.x, c.y - p.y));
    const nearest = far.indexOf(Math.min(...far));
    this.dragging = far[nearest] < 22 * this.pixel;
    this.ground = this.dragging ? null : p;
    if (this.dragging) this.picked = nearest;
    this.draw();
  }

  /** @param {PointerEvent} event */
  moved(event) {
    const p = this.place(event);
    if (this.ground) {
      this.view = { ...this.view, x: this.view.x - (p.x - this.ground.x), y: this.view.y - (p.y - this.ground.y) };
      this.draw();
      return;
    }
    if (!this.dragging) return;
    this.put(p);
    this.showLoupe(p, event);
  }

  /** @param {Point} p */
  put(p) {
    const { width, height } = this.size;
    this.corners[this.picked] = { x: Math.min(width, Math.max(0, p.x)), y: Math.min(height, Math.max(0, p.y)) };
    this.draw();
  }

  /** What lies under the finger, larger, beside it. @param {Point} p @param {PointerEvent} event */
  showLoupe(p, event) {
    this.loupe?.remove();
    const loupe = /** @type {SVGSVGElement} */ (this.svg.cloneNode(true));
    const side = 30 * this.pixel;
    loupe.setAttribute('class', 'loupe');
    loupe.setAttribute('viewBox', `${p.x - side / 2} ${p.y - side / 2} ${side} ${side}`);
    loupe.removeAttribute('tabindex');
    const box = this.svg.getBoundingClientRect();
    loupe.classList.toggle('at-left', event.clientX - box.left > box.width / 2);
    this.svg.parentElement?.append(loupe);
    this.loupe = loupe;
  }

  up() {
    [this.dragging, this.ground] = [false, null];
    this.loupe?.remove();
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    const ways = /** @type {Record<string, number[]>} */ ({ ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] });
    const way = ways[event.key];
    const p = this.corners[this.picked];
    if (!p) return;
    if (way) {
      const by = event.shiftKey ? 10 : 0.5;
      this.put({ x: p.x + way[0] * by, y: p.y + way[1] * by });
    } else if (/^[1-4]$/.test(event.key)) this.pick(Number(event.key) - 1);
    else if (event.key === '+' || event.key === '-') this.zoom(event.key === '+' ? 1 / 1.4 : 1.4);
    else return;
    event.preventDefault();
  }

  async send() {
    const form = document.getElementById(this.dataset.form ?? '');
    if (!(form instanceof HTMLFormElement)) return;
    const about = Object.fromEntries(new FormData(form));
    const body = JSON.stringify({ ...about, corners: this.corners.map((p) => [p.x, p.y]) });
    this.say([this.words.working], 'note');
    try {
      const answer = await fetch(this.dataset.to ?? '', { method: 'POST', body, headers: { 'content-type': 'application/json' } });
      if (answer.ok) location.assign(this.dataset.done ?? '/');
      else this.say(answer.status === 422 ? await answer.json() : [`${this.words.failed} (${answer.status})`], 'note fault');
    } catch {
      this.say([this.words.failed], 'note fault');
    }
  }

  /** @param {string[]} lines @param {string} look */
  say(lines, look) {
    const all = lines.map((words) => {
      const line = document.createElement('li');
      line.className = look;
      line.textContent = look.includes('fault') ? `▲ ${words}` : words;
      return line;
    });
    this.said.replaceChildren(...all);
  }
}

customElements.define('card-corners', CardCorners);

export {};

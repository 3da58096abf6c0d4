// @ts-check
// The cutting table: pieces of the plan where they lie, dragged or moved by keys. Whether a piece may lie somewhere, with whom
// it overlaps and where the nearest free place is, is for the server to say; this lifts, shows and lays down.
import { SVG, button, make } from './made.js';

/**
 * @typedef {[number, number][]} Ring
 * @typedef {{number: string, rings: Ring[], middle: [number, number], room: number, angle: number}} Piece
 * @typedef {{id: string, rings: Ring[], width: number, length: number | null, selvedge: number, flaws: Ring[]}} Stock
 * @typedef {[number, number, number, number, number, number, number]} Lying Piece, copy, stock, turn, face down, x, y.
 * @typedef {{lying: Lying[], ends: [number, number][], left: [number, Ring[]][]}} Layout
 * @typedef {{ground: {cloth: string, pieces: Piece[], stocks: Stock[]}, layout: Layout, ids: string[], permitted: [number, number][][], pinned: [number, number][], length: string}} Cloth
 * @typedef {{plan: string, can_take_back: boolean, cloths: Cloth[]}} Table
 * @typedef {{free: boolean, nearest?: [number, number] | null, near?: string, said: string, met: [string, number][]}} Verdict
 * @typedef {{left: number, top: number, shown: number}} Place Where a stock is drawn, mm, and how much of its length.
 */

const APART = 60; // mm between stocks: their names stand there
const BEYOND = 600; // mm of a roll that is shown beyond the last piece
const REST = 150; // ms that a piece is held still before the nearest free place is asked for
const STEPS = [0.05, 0.08, 0.12, 0.18, 0.27, 0.4, 0.6, 0.9, 1.4, 2]; // px a mm

class CutTable extends HTMLElement {
  /** @type {Record<string, string>} */
  words = {};
  /** @type {Table | null} */
  table = null;
  cloth = 0;
  zoom = 4;
  /** @type {Place[]} */
  places = [];
  /** Index into the layout. @type {number | null} */
  picked = null;
  /** The picked piece where it is held. @type {Lying | null} */
  held = null;
  /** @type {Verdict | null} */
  verdict = null;
  /** @type {{dx: number, dy: number, x: number, y: number, moved: boolean} | null} */
  drag = null;
  /** @type {{stock: number, from: [number, number], to: [number, number]} | null} */
  flaw = null;
  drawsFlaw = false;
  /** Rises when what is held is put back or laid down: answers of before are of no use. */
  asked = 0;
  judging = false;
  /** The timer of a piece that is held still. */
  resting = 0;
  busy = false;
  svg = document.createElementNS(SVG, 'svg');
  lifted = document.createElementNS(SVG, 'g');
  said = document.createElement('p');
  bar = document.createElement('div');
  list = document.createElement('ul');
  choice = document.createElement('select');
  seconds = document.createElement('input');
  /** @type {Record<string, HTMLButtonElement>} */
  buttons = {};

  connectedCallback() {
    this.words = JSON.parse(this.dataset.words ?? '{}');
    this.build();
    this.ask('table', undefined);
  }

  /** @param {string} key @param {string[]} values */
  t(key, ...values) {
    return values.reduce((text, value) => text.replace('{}', value), this.words[key] ?? key);
  }

  build() {
    this.bar.className = 'bar-of-tools';
    this.bar.setAttribute('role', 'toolbar');
    this.bar.setAttribute('aria-label', this.t('table'));
    this.choice.setAttribute('aria-label', this.t('cloth'));
    this.choice.addEventListener('change', () => {
      this.cloth = Number(this.choice.value);
      this.letGo();
      this.picked = null;
      this.draw();
    });
    this.bar.append(this.choice);
    this.button('turn', () => this.turn());
    this.button('pin', () => this.pin());
    this.button('back', () => this.change('back', {}));
    this.button('flaw', () => this.drawFlaw(!this.drawsFlaw));
    this.button('smaller', () => this.scale(-1));
    this.button('larger', () => this.scale(1));
    this.button('around', () => this.around({ cloth: this.now?.ground.cloth })).classList.add('go');
    const label = document.createElement('label');
    label.textContent = `${this.t('seconds')} `;
    this.seconds.value = this.dataset.seconds ?? '20';
    this.seconds.inputMode = 'numeric';
    this.seconds.size = 5;
    label.append(this.seconds);
    this.bar.append(label);
    this.said.setAttribute('role', 'status');
    this.list.className = 'faults';
    const canvas = document.createElement('div');
    canvas.className = 'canvas';
    this.svg.setAttribute('tabindex', '0');
    this.svg.setAttribute('role', 'application');
    this.svg.setAttribute('aria-label', this.t('table'));
    canvas.append(this.svg);
    this.append(this.bar, this.said, this.list, canvas);
    this.svg.addEventListener('pointerdown', (event) => this.down(event));
    this.svg.addEventListener('pointermove', (event) => this.moved(event));
    this.svg.addEventListener('pointerup', (event) => this.up(event));
    this.svg.addEventListener('pointercancel', () => this.letGo());
    this.svg.addEventListener('keydown', (event) => this.key(event));
  }

  /** @param {string} key @param {() => void} act */
  button(key, act) {
    this.buttons[key] = button(this.t(key), act, this.bar);
    this.buttons[key].dataset.does = key;
    return this.buttons[key];
  }

  get now() {
    return this.table?.cloths[this.cloth];
  }

  /** Asks the server, or changes the plan; the answer to that is the table as it is then. @param {string} what @param {object | undefined} body @returns {Promise<any>} */
  async ask(what, body) {
    const request = body && { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(body) };
    let answer;
    try {
      answer = await fetch(`${this.dataset.at}/${what}`, request);
    } catch {
      this.said.textContent = this.t('failed');
      return null;
    }
    if (answer.status === 204) {
      location.assign(this.dataset.plan ?? '');
      return null;
    }
    if (answer.status === 409) {
      await this.ask('table', undefined);
      this.said.textContent = this.t('stale');
      return null;
    }
    const data = await answer.json().catch(() => null);
    if (!answer.ok) {
      this.list.replaceChildren(...(data ?? [this.t('failed')]).map((/** @type {string} */ text) => {
        const entry = document.createElement('li');
        entry.className = 'note fault';
        entry.textContent = `▲ ${text}`;
        return entry;
      }));
      return null;
    }
    if (what !== 'judge' && what !== 'nearest') {
      this.table = data;
      this.held = null;
      this.draw();
    }
    return data;
  }

  /** @param {string} what @param {object} body */
  async change(what, body) {
    if (this.busy || !this.table) return null;
    this.busy = true;
    this.list.replaceChildren();
    this.said.textContent = this.t('hold');
    const done = await this.ask(what, { plan: this.table.plan, ...body });
    this.busy = false;
    if (!done && this.said.textContent === this.t('hold')) this.said.textContent = '';
    if (done) this.tellPicked(what === 'back' ? this.t('taken_back') : '');
    return done;
  }

  /** @param {object} more */
  around(more) {
    this.change('around', { seconds: Number(this.seconds.value.replace(',', '.')) || 0, ...more });
  }

  /** @param {number} by */
  scale(by) {
    this.zoom = Math.min(STEPS.length - 1, Math.max(0, this.zoom + by));
    this.draw();
  }

  /** The box of a piece in a turn and face, from where it is held. @param {number} piece @param {number} turn @param {number} down */
  box(piece, turn, down) {
    const [cos, sin] = [Math.cos((turn * Math.PI) / 180), Math.sin((turn * Math.PI) / 180)];
    let [left, right, low, high] = [Infinity, -Infinity, Infinity, -Infinity];
    for (const [x, y] of this.now?.ground.pieces[piece].rings[0] ?? []) {
      const [px, py] = [cos * x - sin * y, (down ? -1 : 1) * (sin * x + cos * y)];
      [left, right, low, high] = [Math.min(left, px), Math.max(right, px), Math.min(low, py), Math.max(high, py)];
    }
    return { left, right, low, high };
  }

  /** Rolls below each other, offcuts in rows below them. */
  arrange() {
    const { ground, layout } = /** @type {Cloth} */ (this.now);
    const ends = ground.stocks.map(() => 0);
    for (const [piece, , stock, turn, down, x] of layout.lying) ends[stock] = Math.max(ends[stock], x + this.box(piece, turn, down).right);
    const shown = ground.stocks.map((stock, i) => (stock.rings.length ? (stock.length ?? 0) : Math.min(stock.length ?? Infinity, ends[i] + BEYOND)));
    const wide = Math.max(1500, ...shown.filter((_, i) => ground.stocks[i].rings.length === 0));
    this.places = ground.stocks.map(() => ({ left: 0, top: 0, shown: 0 }));
    let [top, left, high] = [APART, 0, 0];
    const rolls = ground.stocks.map((_, i) => i).filter((i) => ground.stocks[i].rings.length === 0);
    for (const i of rolls) {
      this.places[i] = { left: 0, top, shown: shown[i] };
      top += ground.stocks[i].width + APART;
    }
    for (const [i, stock] of ground.stocks.entries()) {
      if (stock.rings.length === 0) continue;
      if (left > 0 && left + shown[i] > wide) [left, top, high] = [0, top + high + APART, 0];
      this.places[i] = { left, top, shown: shown[i] };
      [left, high] = [left + shown[i] + APART, Math.max(high, stock.width)];
    }
    return { width: Math.max(wide, ...this.places.map((p) => p.left + p.shown)), height: top + high + APART };
  }

  draw() {
    const cloth = this.now;
    if (!this.table || !cloth) return;
    this.choice.replaceChildren(...this.table.cloths.map((c, i) => new Option(c.ground.cloth, String(i), false, i === this.cloth)));
    this.choice.hidden = this.table.cloths.length < 2;
    this.buttons.back.disabled = !this.table.can_take_back;
    const { ground, layout, pinned } = cloth;
    const { width, height } = this.arrange();
    const scale = STEPS[this.zoom];
    this.svg.setAttribute('viewBox', `0 0 ${width} ${height}`);
    this.svg.setAttribute('width', `${width * scale}`);
    this.svg.setAttribute('height', `${height * scale}`);
    this.svg.replaceChildren();
    for (const [i, stock] of ground.stocks.entries()) {
      const { left, top, shown } = this.places[i];
      const name = make('text', { x: left, y: top - 12, class: 'stock-name', 'font-size': 14 / scale }, this.svg);
      name.textContent = stock.id;
      const group = make('g', { transform: `translate(${left} ${top + stock.width}) scale(1 -1)` }, this.svg);
      const rings = stock.rings.length ? stock.rings : [box(0, shown, 0, stock.width)];
      make('path', { d: path(rings), class: 'cloth' }, group);
      if (stock.selvedge > 0) for (const y of [stock.selvedge, stock.width - stock.selvedge]) make('line', { x1: 0, x2: shown, y1: y, y2: y, class: 'selvedge' }, group);
      for (const [, left_over] of layout.left.filter((l) => l[0] === i)) make('path', { d: path(left_over), class: 'left-over' }, group);
      for (const [, x] of layout.ends.filter((e) => e[0] === i)) make('line', { x1: x, x2: x, y1: 0, y2: stock.width, class: 'bench-end' }, group);
      for (const ring of stock.flaws) make('path', { d: path([ring]), class: 'flaw' }, group);
    }
    layout.lying.forEach((lying, i) => {
      const group = this.piece(lying, this.svg);
      group.dataset.index = String(i);
      if (pinned.some(([piece, copy]) => piece === lying[0] && copy === lying[1])) group.classList.add('pinned');
    });
    this.lifted = make('g', { class: 'lifted' }, this.svg);
    if (this.picked !== null && this.picked >= layout.lying.length) this.picked = null;
    this.mark();
  }

  /** A piece drawn. @param {Lying} lying @param {Element} into */
  piece([piece, copy, stock, turn, down, x, y], into) {
    const { ground } = /** @type {Cloth} */ (this.now);
    const { rings, number, middle, room } = ground.pieces[piece];
    const { left, top } = this.places[stock];
    const [cos, sin] = [Math.cos((turn * Math.PI) / 180), Math.sin((turn * Math.PI) / 180)];
    const up = down ? -1 : 1;
    const base = { x: left + x, y: top + ground.stocks[stock].width - y };
    const group = make('g', { class: down ? 'piece down' : 'piece' }, into);
    make('path', { d: path(rings), transform: `matrix(${cos} ${-up * sin} ${-sin} ${-up * cos} ${base.x} ${base.y})` }, group);
    const at = { x: base.x + cos * middle[0] - sin * middle[1], y: base.y - up * (sin * middle[0] + cos * middle[1]) };
    const size = Math.min(16 / STEPS[this.zoom], room * 0.9);
    const text = make('text', { x: at.x, y: at.y + size * 0.35, 'font-size': size }, group);
    text.textContent = `${number}${down ? ' ▼' : ''}`;
    group.dataset.piece = `${number}:${copy + 1}`;
    return group;
  }

  /** Marks what is picked, held and met. */
  mark() {
    const { lying } = this.now?.layout ?? { lying: [] };
    const met = new Set((this.held ? (this.verdict?.met ?? []) : []).map(([number, copy]) => `${number}:${copy}`));
    for (const group of /** @type {NodeListOf<SVGGElement>} */ (this.svg.querySelectorAll('g.piece[data-index]'))) {
      const index = Number(group.dataset.index);
      group.classList.toggle('picked', index === this.picked);
      group.classList.toggle('away', index === this.picked && this.held !== null);
      group.classList.toggle('met', met.has(group.dataset.piece ?? ''));
    }
    this.lifted.replaceChildren();
    if (this.held) {
      const group = this.piece(this.held, this.lifted);
      group.classList.toggle('over', Boolean(this.verdict && !this.verdict.free));
      const near = this.verdict?.nearest;
      if (near && !this.verdict?.free) {
        /** @type {Lying} */
        const there = [this.held[0], this.held[1], this.held[2], this.held[3], this.held[4], near[0], near[1]];
        this.piece(there, this.lifted).classList.add('nearest');
      }
    }
    const picked = this.picked === null ? null : lying[this.picked];
    this.buttons.turn.disabled = !picked;
    this.buttons.pin.disabled = !picked;
    this.buttons.pin.textContent = this.t(picked && this.isPinned(picked) ? 'unpin' : 'pin');
  }

  /** @param {Lying} lying */
  isPinned(lying) {
    return Boolean(this.now?.pinned.some(([piece, copy]) => piece === lying[0] && copy === lying[1]));
  }

  tellPicked(before = '') {
    const cloth = this.now;
    const lying = this.picked === null ? undefined : cloth?.layout.lying[this.picked];
    const picked = cloth && lying ? this.t('picked', cloth.ground.pieces[lying[0]].number, String(lying[1] + 1), cloth.ground.stocks[lying[2]].id) : '';
    const pinned = lying && this.isPinned(lying) ? this.t('pinned') : '';
    this.said.textContent = [before, picked, pinned, cloth?.length].filter(Boolean).join(' ');
  }

  /** @param {number} index */
  pick(index) {
    this.letGo();
    this.picked = index;
    this.tellPicked();
    this.mark();
  }

  /** Lifts the picked piece, if it is not held yet. */
  lift() {
    if (this.held || this.picked === null || !this.now) return this.held;
    const lying = this.now.layout.lying[this.picked];
    if (this.isPinned(lying)) {
      this.said.textContent = this.t('pinned_first');
      return null;
    }
    this.held = /** @type {Lying} */ ([...lying]);
    this.verdict = null;
    return this.held;
  }

  /** Puts what is held back where it lay. */
  letGo() {
    this.drag = null;
    this.flaw = null;
    this.held = null;
    this.verdict = null;
    this.asked += 1;
    this.mark();
  }

  /** The held piece as the server takes it. @param {Lying} held */
  lay(held) {
    const cloth = /** @type {Cloth} */ (this.now);
    const [piece, copy, stock, turn, down, x, y] = held;
    return { piece: cloth.ids[piece], copy: copy + 1, stock: cloth.ground.stocks[stock].id, turn, face: down ? 'down' : 'up', x, y };
  }

  /** Asks how the held piece lies: one question at a time, and the newest place is the next. */
  async judge() {
    if (this.judging) return;
    this.judging = true;
    for (let asked = null; this.held && this.held !== asked; ) {
      asked = this.held;
      const [held, mine] = [asked, this.asked];
      const verdict = await this.ask('judge', this.lay(held));
      if (mine !== this.asked) continue;
      this.tell(verdict);
      clearTimeout(this.resting);
      if (verdict?.free === false) this.resting = setTimeout(() => this.showNearest(held, verdict), REST);
    }
    this.judging = false;
  }

  /** Shows the nearest free place, if the piece is still held where the verdict was on it. @param {Lying} held @param {Verdict} verdict */
  async showNearest(held, verdict) {
    if (this.held !== held || this.busy) return;
    const nearest = await this.nearest(held, verdict);
    if (this.held === held && !this.busy) this.tell(nearest);
  }

  /** @param {Verdict | null} verdict */
  tell(verdict) {
    this.verdict = verdict;
    if (verdict) this.said.textContent = verdict.said;
    this.mark();
  }

  /** The verdict with the nearest free place. @param {Lying} held @param {Verdict | null} verdict @returns {Promise<Verdict | null>} */
  async nearest(held, verdict) {
    if (!verdict || verdict.free) return verdict && { ...verdict, nearest: [held[5], held[6]] };
    const { nearest, said, near } = (await this.ask('nearest', this.lay(held))) ?? { said: '' };
    return { ...verdict, nearest, near, said: `${verdict.said} ${said}` };
  }

  /** Lays the held piece down where it is free, or at the nearest free place, or puts it back. */
  async layDown() {
    const held = this.held;
    if (!held || this.busy) return;
    this.asked += 1;
    const verdict = await this.nearest(held, await this.ask('judge', this.lay(held)));
    if (!verdict || !verdict.nearest) {
      this.letGo();
      this.said.textContent = verdict ? `${verdict.said} ${this.t('put_back')}` : this.t('put_back');
      return;
    }
    const [x, y] = verdict.nearest;
    const done = await this.change('lay', { lay: { ...this.lay(held), x, y } });
    if (done) {
      // It may stand elsewhere in the list by now.
      const at = this.now?.layout.lying.findIndex((l) => l[0] === held[0] && l[1] === held[1]) ?? -1;
      this.picked = at < 0 ? null : at;
      this.said.textContent = `${verdict.free ? '' : `${verdict.near} `}${this.t('laid')} ${this.now?.length ?? ''}`;
      this.mark();
    } else {
      this.letGo();
    }
  }

  /** The next permitted turn, about the middle of its box. */
  turn() {
    const held = this.lift();
    const permitted = held && this.now?.permitted[held[0]];
    if (!held || !permitted || permitted.length === 0) return;
    const [piece, , , turn, down, x, y] = held;
    const at = permitted.findIndex(([t, d]) => t === turn && d === down);
    const [t, d] = permitted[(at + 1) % permitted.length];
    const [a, b] = [this.box(piece, turn, down), this.box(piece, t, d)];
    const [dx, dy] = [(a.left + a.right - b.left - b.right) / 2, (a.low + a.high - b.low - b.high) / 2];
    this.hold([held[0], held[1], held[2], t, d, round(x + dx), round(y + dy)]);
    this.svg.focus({ preventScroll: true });
  }

  /** @param {Lying} held */
  hold(held) {
    this.held = held;
    this.mark();
    this.judge();
  }

  pin() {
    const cloth = this.now;
    if (this.picked === null || !cloth) return;
    const lying = cloth.layout.lying[this.picked];
    this.letGo();
    this.change('pin', { piece: cloth.ids[lying[0]], copy: lying[1] + 1, pinned: !this.isPinned(lying) });
  }

  /** @param {boolean} on */
  drawFlaw(on) {
    this.letGo();
    this.drawsFlaw = on;
    this.buttons.flaw.setAttribute('aria-pressed', String(on));
    this.said.textContent = on ? this.t('drawing') : '';
  }

  /** @param {PointerEvent} event */
  at(event) {
    const box = this.svg.getBoundingClientRect();
    const scale = STEPS[this.zoom];
    return { x: (event.clientX - box.left) / scale, y: (event.clientY - box.top) / scale };
  }

  /** The stock at a place of the picture. @param {{x: number, y: number}} at */
  stockAt({ x, y }) {
    const stocks = this.now?.ground.stocks ?? [];
    const margin = APART / 2;
    return this.places.findIndex((p, i) => x > p.left - margin && x < p.left + p.shown + margin && y > p.top - margin && y < p.top + stocks[i].width + margin);
  }

  /** A place of the picture in the frame of a stock. @param {number} stock @param {{x: number, y: number}} at @returns {[number, number]} */
  on(stock, { x, y }) {
    const { left, top } = this.places[stock];
    return [x - left, top + (this.now?.ground.stocks[stock].width ?? 0) - y];
  }

  /** @param {PointerEvent} event */
  down(event) {
    if (event.button !== 0 || this.busy) return;
    const at = this.at(event);
    if (this.drawsFlaw) {
      const stock = this.stockAt(at);
      if (stock < 0 || this.now?.ground.stocks[stock].rings.length) return;
      const from = this.on(stock, at);
      this.flaw = { stock, from, to: from };
    } else {
      const group = event.target instanceof Element ? event.target.closest('g.piece[data-index]') : null;
      if (!(group instanceof SVGElement) || !this.now) return;
      this.pick(Number(group.dataset.index));
      const lying = this.now.layout.lying[this.picked ?? 0];
      const [x, y] = this.on(lying[2], at);
      this.drag = { dx: lying[5] - x, dy: lying[6] - y, x: event.clientX, y: event.clientY, moved: false };
    }
    this.svg.setPointerCapture(event.pointerId);
    this.svg.focus({ preventScroll: true });
    event.preventDefault();
  }

  /** @param {PointerEvent} event */
  moved(event) {
    const at = this.at(event);
    if (this.flaw) {
      this.flaw.to = this.on(this.flaw.stock, at);
      const { from, to } = this.flaw;
      const { left, top } = this.places[this.flaw.stock];
      const width = this.now?.ground.stocks[this.flaw.stock].width ?? 0;
      this.lifted.replaceChildren();
      make('path', { d: path([box(from[0], to[0], from[1], to[1])]), class: 'flaw', transform: `translate(${left} ${top + width}) scale(1 -1)` }, this.lifted);
      return;
    }
    if (!this.drag || this.picked === null) return;
    if (!this.drag.moved && Math.hypot(event.clientX - this.drag.x, event.clientY - this.drag.y) < 4) return;
    this.drag.moved = true;
    const held = this.lift();
    if (!held) return;
    const over = this.stockAt(at);
    const stock = over < 0 ? held[2] : over;
    const [x, y] = this.on(stock, at);
    this.hold([held[0], held[1], stock, held[3], held[4], round(x + this.drag.dx), round(y + this.drag.dy)]);
  }

  /** @param {PointerEvent} event */
  up(event) {
    if (this.svg.hasPointerCapture(event.pointerId)) this.svg.releasePointerCapture(event.pointerId);
    if (this.flaw) {
      const { stock, from, to } = this.flaw;
      const sorted = (/** @type {number} */ k) => [from[k], to[k]].map(round).sort((a, b) => a - b);
      const flaw = { stock: this.now?.ground.stocks[stock].id, along: sorted(0), across: sorted(1) };
      this.drawFlaw(false);
      this.around({ flaw });
      return;
    }
    const dragged = this.drag?.moved;
    this.drag = null;
    if (dragged) this.layDown();
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    const count = this.now?.layout.lying.length ?? 0;
    const by = event.shiftKey ? 10 : 1;
    /** @type {Record<string, [number, number]>} */
    const arrows = { ArrowLeft: [-by, 0], ArrowRight: [by, 0], ArrowUp: [0, by], ArrowDown: [0, -by] };
    const pick = (/** @type {number} */ step) => this.pick(((this.picked ?? (step > 0 ? -1 : 0)) + step + count) % count);
    /** @type {Record<string, () => void>} */
    const acts = {
      n: () => pick(1),
      p: () => pick(-1),
      t: () => this.turn(),
      k: () => this.pin(),
      o: () => this.nextStock(),
      Enter: () => this.layDown(),
      Escape: () => {
        const was = this.held || this.drawsFlaw;
        this.drawFlaw(false);
        this.letGo();
        if (was) this.said.textContent = this.t('put_back');
      },
    };
    if ((event.ctrlKey || event.metaKey) && event.key === 'z') {
      this.letGo();
      if (this.table?.can_take_back) this.change('back', {});
    } else if (event.ctrlKey || event.metaKey || event.altKey || count === 0) {
      return;
    } else if (arrows[event.key]) {
      const held = this.lift();
      const [dx, dy] = arrows[event.key];
      if (held) this.hold([held[0], held[1], held[2], held[3], held[4], round(held[5] + dx), round(held[6] + dy)]);
    } else if (acts[event.key]) {
      acts[event.key]();
    } else {
      return;
    }
    event.preventDefault();
  }

  /** Holds the picked piece over the next roll or offcut. */
  nextStock() {
    const held = this.lift();
    const count = this.now?.ground.stocks.length ?? 0;
    if (!held || count < 2) return;
    const stock = (held[2] + 1) % count;
    const { left, low } = this.box(held[0], held[3], held[4]);
    this.hold([held[0], held[1], stock, held[3], held[4], round(-left), round(-low)]);
  }
}

/** Tenths of a millimetre are as fine as a hand can mean. @param {number} v */
function round(v) {
  return Math.round(v * 10) / 10;
}

/** @param {number} x0 @param {number} x1 @param {number} y0 @param {number} y1 @returns {Ring} */
function box(x0, x1, y0, y1) {
  return [[x0, y0], [x1, y0], [x1, y1], [x0, y1]];
}

/** @param {Ring[]} rings */
function path(rings) {
  return rings.map((ring) => `M${ring.map(([x, y]) => `${x} ${y}`).join('L')}Z`).join('');
}

customElements.define('cut-table', CutTable);

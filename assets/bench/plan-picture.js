// @ts-check
// The layout of each cloth drawn while it gets better: rolls in rows, offcuts below, each piece with its number, angle and
// face. What it lies on comes once, where the pieces lie comes as often as there is something new.

/** @typedef {[number, number][]} Ring */
/** @typedef {{number: string, layer: number, angle: number, rings: Ring[], middle: [number, number], room: number}} Piece */
/** @typedef {{id: string, rings: Ring[], width: number, length: number | null, selvedge: number, flaws: Ring[]}} Stock */
/** @typedef {{cloth: string, least_length: number, pieces: Piece[], stocks: Stock[]}} Ground */
/** Piece, copy, stock, turn, face down, x, y. @typedef {[number, number, number, number, number, number, number]} Lying */
/** Where pieces lie, where bench segments end, what is left over, by stock. @typedef {{lying: Lying[], ends: [number, number][], left: [number, Ring[]][]}} Layout */
/** From mm to the canvas. @typedef {{s: number, x: number, y: number, dense: number}} Base */
/** A stretch of a stock on the canvas. @typedef {{stock: number, from: number, to: number, left: number, top: number}} Row */

const ROW = 110; // px: a roll is drawn at least so wide where it is long
const TALLEST = 380; // px: and at most so wide
const MOST_ROWS = 10;
const GAP = 22; // px between rows: their words stand there
const MOVE = 250; // ms from one layout to the next
const ROUGH = 3; // px between points of an outline that moves

/** @param {Ring[]} rings */
function path(rings) {
  const out = new Path2D();
  for (const ring of rings) {
    ring.forEach(([x, y], i) => (i === 0 ? out.moveTo(x, y) : out.lineTo(x, y)));
    out.closePath();
  }
  return out;
}

/** The ring with points at least so far apart, mm. @param {Ring} ring @param {number} apart @returns {Ring} */
function rough(ring, apart) {
  let last = ring[0];
  return ring.filter((p, i) => {
    const keep = i === 0 || Math.hypot(p[0] - last[0], p[1] - last[1]) >= apart;
    if (keep) last = p;
    return keep;
  });
}

/** Hears of a plan in the making; a picture for each cloth. */
class PlanPicture extends HTMLElement {
  connectedCallback() {
    if (!this.dataset.live) return;
    this.source = new EventSource(this.dataset.live);
    this.source.addEventListener('ground', (event) => {
      const [at, ground] = JSON.parse(event.data);
      this.picture(at).begin(ground);
    });
    this.source.addEventListener('layout', (event) => {
      const [at, layout] = JSON.parse(event.data);
      this.picture(at).show(layout);
    });
    // The server ends the stream with the search: what is drawn stays.
    this.source.addEventListener('error', () => this.source?.close());
    window.addEventListener('pagehide', () => this.source?.close());
  }

  disconnectedCallback() {
    this.source?.close();
  }

  /** @param {number} at @returns {ClothPicture} */
  picture(at) {
    while (this.children.length <= at) {
      const cloth = document.createElement('cloth-picture');
      Object.assign(cloth.dataset, { label: this.dataset.label, unit: this.dataset.unit, mm: this.dataset.mm });
      this.append(cloth);
    }
    return /** @type {ClothPicture} */ (this.children[at]);
  }
}

class ClothPicture extends HTMLElement {
  /** @type {Ground | null} */
  ground = null;
  /** @type {Path2D[]} */
  paths = [];
  /** The same for the moment when they move, and the scale they were made for. @type {Path2D[]} */
  moving = [];
  roughFor = 0;
  /** @type {Lying[]} */
  lying = [];
  /** @type {Layout} */
  layout = { lying: [], ends: [], left: [] };
  /** Where pieces were before, by piece and copy. @type {Map<string, Lying>} */
  earlier = new Map();
  /** Where each piece of `lying` begins and ends along its stock. @type {[number, number][]} */
  spans = [];
  began = 0;
  frame = 0;
  frames = 0;
  first = 0;
  longest = 0;
  scale = 1;
  /** @type {Row[]} */
  rows = [];

  connectedCallback() {
    this.canvas = this.querySelector('canvas') ?? this.appendChild(document.createElement('canvas'));
    this.canvas.setAttribute('role', 'img');
    this.resized = new ResizeObserver(() => this.arrange());
    this.resized.observe(this);
  }

  disconnectedCallback() {
    this.resized?.disconnect();
    cancelAnimationFrame(this.frame);
  }

  /** @param {Ground} ground */
  begin(ground) {
    this.ground = ground;
    this.canvas?.setAttribute('aria-label', `${this.dataset.label ?? ''} ${ground.cloth}`.trim());
    this.paths = ground.pieces.map((piece) => path(piece.rings));
    this.roughFor = 0;
    // The length of the first layout stays in sight when the last one is settled.
    [this.lying, this.earlier, this.longest, this.rows] = [[], new Map(), 0, []];
  }

  /** @param {Layout} layout */
  show(layout) {
    if (!this.ground || layout.lying.length === 0) return;
    this.earlier = new Map(this.lying.map((l) => [`${l[0]}:${l[1]}`, l]));
    const lying = layout.lying;
    [this.layout, this.lying] = [layout, lying];
    const still = matchMedia('(prefers-reduced-motion: reduce)').matches || this.earlier.size === 0;
    this.began = still ? 0 : performance.now();
    this.spans = lying.map((l) => this.span(l));
    const ends = this.ends();
    const length = Math.max(0, ...this.ground.stocks.map((stock, i) => (stock.rings.length ? 0 : ends[i])));
    if (this.first === 0) this.first = length;
    this.longest = length;
    this.arrange();
  }

  /** @param {Lying} lying @returns {[number, number]} */
  span([piece, , , turn, , x]) {
    const [cos, sin] = [Math.cos((turn * Math.PI) / 180), Math.sin((turn * Math.PI) / 180)];
    let [low, high] = [Infinity, -Infinity];
    for (const [px, py] of this.ground?.pieces[piece]?.rings[0] ?? []) {
      const at = x + cos * px - sin * py;
      if (at < low) low = at;
      if (at > high) high = at;
    }
    return [low, high];
  }

  /** Where the pieces of each stock end along it. */
  ends() {
    const ends = (this.ground?.stocks ?? []).map(() => 0);
    this.lying.forEach((l, i) => {
      ends[l[2]] = Math.max(ends[l[2]], this.spans[i][1]);
    });
    return ends;
  }

  /** Lays rolls out in rows and offcuts below them, and draws. */
  arrange() {
    const { ground, canvas } = this;
    if (!ground || !canvas || this.lying.length === 0) return;
    const wide = Math.max(200, this.clientWidth);
    const ends = this.ends();
    const used = ground.stocks.map((_, i) => i).filter((i) => ends[i] > 0);
    const rolls = used.filter((i) => ground.stocks[i].rings.length === 0);
    const offcuts = used.filter((i) => ground.stocks[i].rings.length > 0);
    // The first layout stays in sight: what was saved is the part left empty.
    const reach = (/** @type {number} */ i) => Math.max(ends[i], rolls.length === 1 ? this.first : 0) * 1.01;
    const longest = Math.max(1, ...rolls.map(reach), ...offcuts.map((i) => ground.stocks[i].length ?? 1));
    const width = Math.max(1, ...used.map((i) => ground.stocks[i].width));
    let count = 1;
    while (count < MOST_ROWS && (width * wide * count) / longest < ROW) count += 1;
    const row = longest / count;
    this.scale = Math.min(wide / row, TALLEST / width);
    if (this.roughFor === 0 || Math.abs(this.scale / this.roughFor - 1) > 0.2) {
      this.moving = ground.pieces.map((piece) => path(piece.rings.map((ring) => rough(ring, ROUGH / this.scale))));
      this.roughFor = this.scale;
    }
    this.rows = [];
    let top = GAP;
    for (const stock of rolls) {
      for (let from = 0; from < reach(stock) - 1e-6; from += row) {
        this.rows.push({ stock, from, to: Math.min(from + row, reach(stock)), left: 0, top });
        top += ground.stocks[stock].width * this.scale + GAP;
      }
    }
    let [left, high] = [0, 0];
    for (const stock of offcuts) {
      const { length, width } = ground.stocks[stock];
      const across = (length ?? 0) * this.scale;
      if (left > 0 && left + across > wide) [left, top, high] = [0, top + high + GAP, 0];
      this.rows.push({ stock, from: 0, to: length ?? 0, left, top });
      [left, high] = [left + across + GAP, Math.max(high, width * this.scale)];
    }
    const dense = Math.min(2, window.devicePixelRatio || 1);
    const high_in_all = Math.ceil(top + high);
    if (canvas.width !== Math.round(wide * dense) || canvas.height !== Math.round(high_in_all * dense)) {
      [canvas.width, canvas.height] = [Math.round(wide * dense), Math.round(high_in_all * dense)];
    }
    cancelAnimationFrame(this.frame);
    this.frame = requestAnimationFrame((now) => this.draw(now));
  }

  /** @param {number} now */
  draw(now) {
    const { ground, canvas, scale } = this;
    const pen = canvas?.getContext('2d');
    if (!ground || !canvas || !pen) return;
    this.frames += 1;
    const share = this.began ? Math.min(1, (now - this.began) / MOVE) : 1;
    const style = getComputedStyle(this);
    const colour = (/** @type {string} */ name) => style.getPropertyValue(`--${name}`);
    const [ink, quiet, cloth, skin, paper, fault] = ['ink', 'quiet', 'cloth', 'skin', 'paper', 'fault'].map(colour);
    const dense = canvas.width / Math.max(200, this.clientWidth);
    pen.setTransform(dense, 0, 0, dense, 0, 0);
    pen.clearRect(0, 0, canvas.width, canvas.height);
    const still = share >= 1;
    /** Pieces of each stock as they lie now, with where they begin and end. @type {Map<number, {at: Lying, low: number, high: number}[]>} */
    const on = new Map();
    this.lying.forEach((l, i) => {
      const old = still ? undefined : this.earlier.get(`${l[0]}:${l[1]}`);
      const by = old && old[2] === l[2] ? share - 1 : 0;
      const [dx, dy] = by && old ? [by * (l[5] - old[5]), by * (l[6] - old[6])] : [0, 0];
      /** @type {Lying} */
      const at = [l[0], l[1], l[2], l[3], l[4], l[5] + dx, l[6] + dy];
      const list = on.get(l[2]) ?? [];
      if (list.length === 0) on.set(l[2], list);
      list.push({ at, low: this.spans[i][0] + dx, high: this.spans[i][1] + dx });
    });
    for (const { stock, from, to, left, top } of this.rows) {
      const { id, rings, width, selvedge, flaws } = ground.stocks[stock];
      /** @type {Base} */
      const base = { s: dense * scale, x: dense * (left - from * scale), y: dense * (top + width * scale), dense };
      pen.save();
      pen.setTransform(dense, 0, 0, dense, 0, 0);
      pen.font = `13px ${style.fontFamily}`;
      [pen.fillStyle, pen.textAlign, pen.textBaseline] = [quiet, 'left', 'alphabetic'];
      pen.fillText(from > 0 ? `${id} · ${(from / Number(this.dataset.mm ?? 1000)).toFixed(2)} ${this.dataset.unit ?? 'm'}` : id, left, top - 6);
      pen.beginPath();
      pen.rect(left - 1, top - 1, (to - from) * scale + 2, width * scale + 2);
      pen.clip();
      pen.setTransform(base.s, 0, 0, -base.s, base.x, base.y);
      [pen.lineWidth, pen.strokeStyle] = [1.2 / scale, quiet];
      const sheet = path(rings.length ? rings : [[[0, 0], [1e6, 0], [1e6, width], [0, width]]]);
      pen.fillStyle = cloth;
      pen.fill(sheet, 'evenodd');
      pen.stroke(sheet);
      if (selvedge > 0) {
        pen.setLineDash([6 / scale, 4 / scale]);
        for (const y of [selvedge, width - selvedge]) line(pen, [from, y], [to, y]);
        pen.setLineDash([]);
      }
      [pen.fillStyle, pen.strokeStyle] = [paper, fault];
      for (const flaw of flaws) {
        const mark = path([flaw]);
        pen.fill(mark);
        pen.stroke(mark);
        const [xs, ys] = [flaw.map((p) => p[0]), flaw.map((p) => p[1])];
        const [left, right, low, high] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
        line(pen, [left, low], [right, high]);
        line(pen, [left, high], [right, low]);
      }
      [pen.strokeStyle, pen.lineWidth] = [quiet, 1 / scale];
      for (const [, rings] of this.layout.left.filter((l) => l[0] === stock)) hatch(pen, rings, 9 / scale);
      pen.setLineDash([2 / scale, 2 / scale, 8 / scale, 2 / scale]);
      for (const [, x] of this.layout.ends.filter((e) => e[0] === stock)) line(pen, [x, 0], [x, width]);
      pen.setLineDash([]);
      const here = (on.get(stock) ?? []).filter((piece) => piece.high > from && piece.low < to);
      this.pieces(pen, base, here.map((piece) => piece.at), { from, to, ink, skin, family: style.fontFamily, still });
      pen.setTransform(base.s, 0, 0, -base.s, base.x, base.y);
      if (!rings.length) this.lengths(pen, width, { ink, quiet });
      pen.restore();
    }
    if (share < 1) this.frame = requestAnimationFrame((later) => this.draw(later));
  }

  /**
   * @param {CanvasRenderingContext2D} pen
   * @param {Base} base
   * @param {Lying[]} lying
   * @param {{from: number, to: number, ink: string, skin: string, family: string, still: boolean}} look
   */
  pieces(pen, base, lying, { from, to, ink, skin, family, still }) {
    const ground = /** @type {Ground} */ (this.ground);
    const { scale } = this;
    [pen.fillStyle, pen.strokeStyle, pen.lineWidth] = [skin, ink, 1 / scale];
    const paths = still ? this.paths : this.moving;
    /** @type {{x: number, y: number, room: number, number: string, face: string}[]} */
    const words = [];
    for (const [index, , , turn, down, x, y] of lying) {
      const piece = ground.pieces[index];
      const [cos, sin] = [Math.cos((turn * Math.PI) / 180), Math.sin((turn * Math.PI) / 180)];
      const up = down ? -1 : 1;
      pen.setTransform(base.s * cos, -base.s * up * sin, -base.s * sin, -base.s * up * cos, base.x + base.s * x, base.y - base.s * y);
      pen.fill(paths[index], 'evenodd');
      // Face down shows by a dashed outline as well as by its sign, as soon as nothing moves.
      if (down && still) pen.setLineDash([5 / scale, 3 / scale]);
      pen.stroke(paths[index]);
      if (down && still) pen.setLineDash([]);
      const room = piece.room * scale;
      const [px, py] = piece.middle;
      const at = { x: x + cos * px - sin * py, y: y + up * (sin * px + cos * py) };
      if (room < 5 || at.x < from || at.x > to) continue;
      words.push({ x: base.x + base.s * at.x, y: base.y - base.s * at.y, room, number: piece.number, face: `${piece.angle}° ${down ? '▼' : '▲'}` });
    }
    pen.setTransform(1, 0, 0, 1, 0, 0);
    [pen.fillStyle, pen.textAlign, pen.textBaseline] = [ink, 'center', 'middle'];
    let size = 0;
    for (const { x, y, room, number, face } of words) {
      const wanted = Math.round(Math.min(15, Math.max(8, room * 0.8)) * base.dense);
      if (wanted !== size) pen.font = `${wanted}px ${family}`;
      size = wanted;
      const two = room > 14 && still;
      pen.fillText(number, x, room > 14 ? y - size * 0.55 : y);
      if (two) pen.fillText(face, x, y + size * 0.65);
    }
  }

  /** Ends of the first, the best and the least possible layout. @param {CanvasRenderingContext2D} pen @param {number} width @param {{ink: string, quiet: string}} look */
  lengths(pen, width, { ink, quiet }) {
    const { scale } = this;
    const least = this.ground?.least_length ?? 0;
    const ends = /** @type {[number, number[], string][]} */ ([[this.first, [2, 3], quiet], [this.longest, [], ink], [least, [10, 4, 2, 4], quiet]]);
    for (const [at, dashes, colour] of ends) {
      [pen.strokeStyle, pen.lineWidth] = [colour, 2 / scale];
      pen.setLineDash(dashes.map((d) => d / scale));
      line(pen, [at, 0], [at, width]);
    }
    pen.setLineDash([]);
  }
}

/** @param {CanvasRenderingContext2D} pen @param {[number, number]} from @param {[number, number]} to */
function line(pen, from, to) {
  pen.beginPath();
  pen.moveTo(...from);
  pen.lineTo(...to);
  pen.stroke();
}

/** An offcut to keep: its outline, hatched. @param {CanvasRenderingContext2D} pen @param {Ring[]} rings @param {number} apart */
function hatch(pen, rings, apart) {
  const [xs, ys] = [0, 1].map((k) => rings[0].map((p) => p[k]));
  const [left, right, low, high] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  const outline = path(rings);
  pen.save();
  pen.clip(outline, 'evenodd');
  for (let at = left - (high - low); at < right; at += apart) line(pen, [at, low], [at + high - low, high]);
  pen.restore();
  pen.stroke(outline);
}

customElements.define('cloth-picture', ClothPicture);
customElements.define('plan-picture', PlanPicture);

export {};

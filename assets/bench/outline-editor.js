// @ts-check
// The drawing tool for an outline: corners, edges and their kinds, relief cuts, windows, zones, arrow, measures. It moves points; whether
// they make an outline is for the server to say.
import { SVG, button, make } from './made.js';

/**
 * @typedef {{x: number, y: number}} Point
 * @typedef {{net: Point[], edges: (string | null)[], holes: Point[][], cuts: Point[][], marks: Point[][], no_splice: Point[][], arrow: Point[] | null}} Outline
 * @typedef {{list: string, index: number, point: number}} Corner
 */

const KINDS = ['trim', 'lap', 'butt', 'dart'];
/** Tools that draw a line point by point, and the list it goes into. */
const DRAWN = /** @type {const} */ ({ relief: 'cuts', hole: 'holes', zone: 'no_splice', arrow: 'arrow' });
const MOST_STEPS = 200;

class OutlineEditor extends HTMLElement {
  /** @type {Record<string, string>} */
  words = {};
  rev = '';
  otherwise = 'trim';
  /** @type {{place: number[]} | null} */
  photo = null;
  /** @type {Outline} */
  outline = { net: [], edges: [], holes: [], cuts: [], marks: [], no_splice: [], arrow: null };
  saved = '';
  /** @type {string[]} */
  done = [];
  /** @type {string[]} */
  undone = [];
  tool = 'select';
  /** @type {Corner[]} */
  picked = [];
  /** @type {number | null} */
  edge = null;
  /** @type {Point[]} */
  drawing = [];
  /** Where the keys put a point. @type {Point | null} */
  cursor = null;
  /** @type {{what: string, at: number[] | null}[]} */
  faults = [];
  view = { x: 0, y: 0, w: 1, h: 1 };
  /** @type {Map<number, Point>} */
  fingers = new Map();
  /** @type {{corner?: Corner, begun?: boolean, ground?: Point} | null} */
  dragging = null;
  /** @type {Element | null} */
  loupe = null;
  bar = document.createElement('div');
  kinds = document.createElement('span');
  said = document.createElement('p');
  measured = document.createElement('p');
  canvas = document.createElement('div');
  list = document.createElement('ul');
  saveButton = document.createElement('button');
  svg = document.createElementNS(SVG, 'svg');

  connectedCallback() {
    const begin = JSON.parse(this.dataset.begin ?? '{}');
    this.words = JSON.parse(this.dataset.words ?? '{}');
    this.rev = begin.rev;
    this.otherwise = begin.edge;
    this.photo = begin.photo;
    this.outline = this.complete(begin.outline);
    this.saved = JSON.stringify(this.outline);
    this.build();
    this.fit();
    this.draw();
  }

  /** Points as the drawing needs them, of pairs as the file has them. @param {any} data @returns {Outline} */
  complete(data) {
    const edges = data.edges.length === data.net.length ? data.edges : data.net.map(() => null);
    const line = (/** @type {number[][]} */ pairs) => pairs.map(([x, y]) => ({ x, y }));
    const { net, holes, cuts, marks, no_splice: zones, arrow } = data;
    return { net: line(net), edges, holes: holes.map(line), cuts: cuts.map(line), marks: marks.map(line), no_splice: zones.map(line), arrow: arrow && line(arrow) };
  }

  /** The outline as the file has it. */
  data() {
    const pairs = (/** @type {Point[]} */ points) => points.map((p) => [p.x, p.y]);
    const { net, edges, holes, cuts, marks, no_splice: zones, arrow } = this.outline;
    return { net: pairs(net), edges, holes: holes.map(pairs), cuts: cuts.map(pairs), marks: marks.map(pairs), no_splice: zones.map(pairs), arrow: arrow && pairs(arrow) };
  }

  /** @param {string} key */
  t(key) {
    return this.words[key] ?? key;
  }

  build() {
    this.bar.className = 'bar-of-tools';
    this.bar.setAttribute('role', 'toolbar');
    for (const tool of ['select', 'add', ...Object.keys(DRAWN)]) {
      this.button(tool, () => this.choose(tool)).dataset.tool = tool;
    }
    this.button('close', () => this.closeLine());
    this.button('remove', () => this.remove());
    this.button('straight', () => this.straighten());
    for (const kind of [...KINDS, 'none']) this.button(kind, () => this.setKind(kind === 'none' ? null : kind), this.kinds).dataset.kind = kind;
    this.bar.append(this.kinds);
    this.button('undo', () => this.back(this.done, this.undone));
    this.button('redo', () => this.back(this.undone, this.done));
    this.button('fit', () => {
      this.fit();
      this.draw();
    });
    this.saveButton = this.button('save', () => this.save());
    this.saveButton.classList.add('go');
    this.said.setAttribute('role', 'status');
    this.canvas.className = 'canvas';
    this.svg.setAttribute('tabindex', '0');
    this.svg.setAttribute('role', 'application');
    this.svg.setAttribute('aria-label', this.t('help'));
    this.svg.classList.toggle('on-photo', Boolean(this.photo));
    this.canvas.append(this.svg);
    this.list.className = 'faults';
    this.append(this.bar, this.said, this.canvas, this.measured, this.list);
    this.svg.addEventListener('wheel', (event) => this.zoomBy(event), { passive: false });
    this.svg.addEventListener('pointerdown', (event) => this.down(event));
    this.svg.addEventListener('pointermove', (event) => this.moved(event));
    this.svg.addEventListener('pointerup', (event) => this.up(event));
    this.svg.addEventListener('pointercancel', (event) => this.up(event));
    this.svg.addEventListener('dblclick', () => this.closeLine());
    this.svg.addEventListener('keydown', (event) => this.key(event));
    window.addEventListener('beforeunload', (event) => {
      if (this.isConnected && JSON.stringify(this.outline) !== this.saved) event.preventDefault();
    });
  }

  /** @param {string} key @param {() => void} act @param {HTMLElement} [place] */
  button(key, act, place = this.bar) {
    return button(this.t(key), act, place);
  }

  // --- looking: mm with y up, turned over once here ---

  fit() {
    const all = [...this.outline.net, ...this.outline.holes.flat(), ...(this.outline.arrow ?? [])];
    const xs = all.map((p) => p.x);
    const ys = all.map((p) => p.y);
    const [left, right, low, high] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
    const margin = 0.06 * Math.max(right - left, high - low, 1);
    this.view = { x: left - margin, y: -high - margin, w: right - left + 2 * margin, h: high - low + 2 * margin };
  }

  /** mm on the bench that a pixel of the screen shows. */
  get pixel() {
    const box = this.svg.getBoundingClientRect();
    return box.width > 0 ? Math.max(this.view.w / box.width, this.view.h / box.height) : 1;
  }

  /** @param {{clientX: number, clientY: number}} event @returns {Point} */
  place(event) {
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.svg.getScreenCTM()?.inverse());
    return { x: at.x, y: -at.y };
  }

  /** @param {WheelEvent} event */
  zoomBy(event) {
    event.preventDefault();
    this.zoom(this.place(event), event.deltaY > 0 ? 1.2 : 1 / 1.2);
  }

  /** @param {Point} about @param {number} by */
  zoom(about, by) {
    const view = this.view;
    if (view.w * by > 1e6 || view.w * by < 0.5) return;
    this.view = { x: about.x - (about.x - view.x) * by, y: -about.y - (-about.y - view.y) * by, w: view.w * by, h: view.h * by };
    this.draw();
  }

  // --- drawing ---

  draw() {
    const { svg, view } = this;
    svg.setAttribute('viewBox', `${view.x} ${view.y} ${view.w} ${view.h}`);
    svg.replaceChildren();
    if (this.photo) {
      const [left, low, right, high] = this.photo.place;
      this.shape('image', { href: this.dataset.photo, x: left, y: -high, width: right - left, height: high - low, preserveAspectRatio: 'none' });
    }
    const { net, edges, holes, cuts, marks, no_splice: zones, arrow } = this.outline;
    const d = (/** @type {Point[]} */ ring) => `M${ring.map((p) => `${p.x} ${-p.y}`).join('L')}Z`;
    this.shape('path', { class: 'skin', d: [net, ...holes].map(d).join('') });
    zones.forEach((zone) => this.shape('polygon', { class: 'zone', points: this.points(zone) }));
    holes.forEach((hole) => this.shape('polygon', { class: 'edge', points: this.points(hole) }));
    net.forEach((p, i) => {
      const q = net[(i + 1) % net.length];
      const picked = this.edge === i ? ' picked' : '';
      this.shape('line', { class: `edge ${edges[i] ?? this.otherwise}${picked}`, x1: p.x, y1: -p.y, x2: q.x, y2: -q.y });
    });
    marks.forEach((mark) => this.shape('polyline', { class: 'mark', points: this.points(mark) }));
    cuts.forEach((cut) => this.shape('polyline', { class: 'cut', points: this.points(cut) }));
    if (arrow) this.arrow(arrow);
    if (this.drawing.length > 0) this.shape('polyline', { class: 'being-drawn', points: this.points(this.drawing) });
    if (this.cursor) {
      const { x, y } = this.cursor;
      const arm = 12 * this.pixel;
      this.shape('line', { class: 'being-drawn', x1: x - arm, y1: -y, x2: x + arm, y2: -y });
      this.shape('line', { class: 'being-drawn', x1: x, y1: -y - arm, x2: x, y2: arm - y });
    }
    const r = 5 * this.pixel;
    // Corners closer together than the handles are wide show only when one comes near.
    /** @type {Point | null} */
    let last = null;
    for (const corner of this.corners()) {
      const p = this.at(corner);
      const picked = this.isPicked(corner);
      if (!picked && last && !this.isSharp(corner) && Math.hypot(p.x - last.x, p.y - last.y) < 1.6 * r) continue;
      last = p;
      this.shape('circle', { class: picked ? 'picked' : '', cx: p.x, cy: -p.y, r });
    }
    for (const fault of this.faults) {
      if (fault.at) this.shape('circle', { class: 'fault-at', cx: fault.at[0], cy: -fault.at[1], r: 3 * r });
    }
    this.tell();
  }

  /** @param {keyof SVGElementTagNameMap} name @param {Record<string, any>} attributes */
  shape(name, attributes) {
    make(name, attributes, this.svg);
  }

  /** @param {Point[]} line */
  points(line) {
    return line.map((p) => `${p.x},${-p.y}`).join(' ');
  }

  /** @param {Point[]} arrow */
  arrow([tail, head]) {
    const long = Math.hypot(head.x - tail.x, head.y - tail.y) || 1;
    const [u, v] = [(head.x - tail.x) / long, (head.y - tail.y) / long];
    const barb = Math.min(16 * this.pixel, long / 2);
    const side = (/** @type {number} */ s) => ({ x: head.x - barb * (u + 0.5 * s * v), y: head.y - barb * (v - 0.5 * s * u) });
    this.shape('polyline', { class: 'arrow', points: this.points([tail, head]) });
    this.shape('polyline', { class: 'arrow', points: this.points([side(1), head, side(-1)]) });
  }

  tell() {
    for (const button of this.bar.querySelectorAll('button') ?? []) {
      if (button.dataset.tool) button.setAttribute('aria-pressed', String(button.dataset.tool === this.tool));
      if (button.dataset.kind) button.disabled = this.edge === null;
    }
    const unsaved = JSON.stringify(this.outline) !== this.saved;
    this.saveButton.disabled = !unsaved;
    if (unsaved) this.said.textContent = this.t('unsaved');
    this.list.replaceChildren(
      ...this.faults.map((fault) => {
        const item = document.createElement('li');
        item.className = 'note fault';
        item.textContent = `▲ ${fault.what}`;
        return item;
      })
    );
    this.showMeasure();
  }

  /** The straight distance between two picked corners, and how far a measured length is off it. */
  showMeasure() {
    if (this.picked.length !== 2) {
      this.measured.replaceChildren();
      return;
    }
    const [p, q] = this.picked.map((corner) => this.at(corner));
    const drawn = Math.hypot(p.x - q.x, p.y - q.y);
    const { unit = 'mm', mm = '1' } = this.dataset;
    const shown = (/** @type {number} */ length) => (length / Number(mm)).toFixed(unit === 'mm' ? 1 : 3);
    const known = this.measured.querySelector('input');
    const words = document.createElement('span');
    const field = known ?? document.createElement('input');
    const off = document.createElement('b');
    const say = () => {
      const measured = Number(field.value.replace(',', '.')) * Number(mm);
      off.textContent = field.value && measured > 0 ? ` ${this.t('off')} ${shown(drawn - measured)} ${unit} (${((100 * (drawn - measured)) / measured).toFixed(2)} %)` : '';
    };
    words.textContent = `${shown(drawn)} ${unit} · `;
    field.setAttribute('aria-label', this.t('length'));
    field.placeholder = this.t('length');
    field.inputMode = 'decimal';
    field.oninput = say;
    this.measured.replaceChildren(words, field, off);
    say();
  }

  // --- corners ---

  /** @returns {Corner[]} */
  corners() {
    const of = (/** @type {string} */ list, /** @type {Point[][]} */ lines) => lines.flatMap((line, index) => line.map((_, point) => ({ list, index, point })));
    const { net, holes, cuts, no_splice: zones, arrow } = this.outline;
    return [...of('net', [net]), ...of('holes', holes), ...of('cuts', cuts), ...of('no_splice', zones), ...of('arrow', arrow ? [arrow] : [])];
  }

  /** @param {Corner} corner @returns {Point[]} */
  line(corner) {
    const { outline } = this;
    if (corner.list === 'net') return outline.net;
    if (corner.list === 'arrow') return outline.arrow ?? [];
    return /** @type {any} */ (outline)[corner.list][corner.index];
  }

  /** @param {Corner} corner */
  at(corner) {
    return this.line(corner)[corner.point];
  }

  /** @param {Corner} corner */
  isPicked(corner) {
    return this.picked.some((p) => p.list === corner.list && p.index === corner.index && p.point === corner.point);
  }

  /** True where the line turns by more than 20°, or ends. @param {Corner} corner */
  isSharp(corner) {
    const line = this.line(corner);
    const closed = corner.list !== 'cuts' && corner.list !== 'arrow';
    const at = (/** @type {number} */ k) => (closed ? line[(corner.point + k + line.length) % line.length] : line[corner.point + k]);
    const [a, p, b] = [at(-1), at(0), at(1)];
    if (!a || !b) return true;
    const turn = Math.atan2(p.y - a.y, p.x - a.x) - Math.atan2(b.y - p.y, b.x - p.x);
    return Math.abs(Math.atan2(Math.sin(turn), Math.cos(turn))) > 0.35;
  }

  /** @param {Point} p @returns {Corner | null} */
  nearCorner(p) {
    /** @type {Corner | null} */
    let best = null;
    let reach = 14 * this.pixel;
    for (const corner of this.corners()) {
      const q = this.at(corner);
      const far = Math.hypot(p.x - q.x, p.y - q.y);
      if (far < reach) [best, reach] = [corner, far];
    }
    return best;
  }

  /** @param {Point} p @returns {{index: number, at: Point} | null} */
  nearEdge(p) {
    const net = this.outline.net;
    /** @type {{index: number, at: Point} | null} */
    let best = null;
    let reach = 12 * this.pixel;
    net.forEach((a, index) => {
      const b = net[(index + 1) % net.length];
      const long = (b.x - a.x) ** 2 + (b.y - a.y) ** 2;
      const t = long > 0 ? Math.min(1, Math.max(0, ((p.x - a.x) * (b.x - a.x) + (p.y - a.y) * (b.y - a.y)) / long)) : 0;
      const at = { x: a.x + t * (b.x - a.x), y: a.y + t * (b.y - a.y) };
      const far = Math.hypot(p.x - at.x, p.y - at.y);
      if (far < reach) [best, reach] = [{ index, at }, far];
    });
    return best;
  }

  // --- steps ---

  /** Remembers how it was before a change. */
  step() {
    this.done.push(JSON.stringify(this.outline));
    if (this.done.length > MOST_STEPS) this.done.shift();
    this.undone = [];
    this.faults = [];
  }

  /** @param {string[]} from @param {string[]} to */
  back(from, to) {
    const before = from.pop();
    if (!before) return;
    to.push(JSON.stringify(this.outline));
    this.outline = JSON.parse(before);
    this.picked = [];
    this.edge = null;
    this.faults = [];
    this.draw();
  }

  /** @param {string} tool */
  choose(tool) {
    this.tool = tool;
    this.cursor = null;
    this.drawing = [];
    this.draw();
    this.svg.focus();
  }

  remove() {
    const [corner] = this.picked;
    if (!corner) return;
    this.step();
    const line = this.line(corner);
    const least = corner.list === 'cuts' ? 2 : 3;
    if (corner.list === 'arrow') this.outline.arrow = null;
    else if (line.length > least || corner.list === 'net') {
      if (line.length > 3) {
        line.splice(corner.point, 1);
        // The edge that is left takes the kind of the one before the corner.
        if (corner.list === 'net') this.outline.edges.splice(corner.point, 1);
      }
    } else /** @type {any} */ (this.outline)[corner.list].splice(corner.index, 1);
    this.picked = [];
    this.edge = null;
    this.draw();
  }

  /** Takes the corners out between two picked ones, along the shorter way round. */
  straighten() {
    const net = this.outline.net;
    const [a, b] = this.picked;
    if (!a || !b || a.list !== 'net' || b.list !== 'net') return;
    const [i, j] = [Math.min(a.point, b.point), Math.max(a.point, b.point)];
    const way = (/** @type {number} */ from, /** @type {number} */ to) => {
      let sum = 0;
      for (let k = from; k !== to; k = (k + 1) % net.length) {
        const next = net[(k + 1) % net.length];
        sum += Math.hypot(net[k].x - next.x, net[k].y - next.y);
      }
      return sum;
    };
    const inner = way(i, j) <= way(j, i);
    const keep = net.map((_, k) => (inner ? k <= i || k >= j : k >= i && k <= j));
    if (keep.filter(Boolean).length < 3) return;
    this.step();
    this.outline.edges = this.outline.edges.filter((_, k) => keep[k]);
    this.outline.net = net.filter((_, k) => keep[k]);
    this.picked = [];
    this.edge = null;
    this.draw();
  }

  /** @param {string | null} kind */
  setKind(kind) {
    if (this.edge === null) return;
    this.step();
    this.outline.edges[this.edge] = kind;
    this.draw();
  }

  closeLine() {
    const list = DRAWN[/** @type {keyof typeof DRAWN} */ (this.tool)];
    const line = this.drawing.filter((p, i, all) => i === 0 || Math.hypot(p.x - all[i - 1].x, p.y - all[i - 1].y) > 0.2);
    this.drawing = [];
    if (list && line.length >= (list === 'cuts' || list === 'arrow' ? 2 : 3)) {
      this.step();
      if (list === 'arrow') this.outline.arrow = [line[0], line[line.length - 1]];
      else this.outline[list].push(line);
      this.tool = 'select';
    }
    this.draw();
  }

  // --- fingers, mouse, keys ---

  /** @param {PointerEvent} event */
  down(event) {
    this.svg.setPointerCapture(event.pointerId);
    this.svg.focus({ preventScroll: true });
    this.fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    if (this.fingers.size > 1) {
      this.dragging = null;
      return;
    }
    const p = this.place(event);
    if (this.puts) {
      this.cursor = null;
      this.put(p);
      if (this.tool === 'add' && this.picked[0]) this.dragging = { corner: this.picked[0], begun: true };
      return;
    }
    const corner = this.nearCorner(p);
    if (corner) {
      const more = event.shiftKey || this.tool === 'measure';
      this.picked = more ? [...this.picked.filter((c) => !this.isSame(c, corner)).slice(-1), corner] : [corner];
      this.edge = null;
      this.dragging = { corner, begun: false };
      this.draw();
      return;
    }
    const near = this.nearEdge(p);
    this.edge = near ? near.index : null;
    if (near) this.picked = [];
    this.dragging = near ? null : { ground: p };
    this.draw();
  }

  /** The tool puts points. */
  get puts() {
    return this.tool in DRAWN || this.tool === 'add';
  }

  /** Puts a point of the line that is being drawn, or a corner on the edge. @param {Point} p */
  put(p) {
    const near = this.nearEdge(p);
    if (this.tool === 'add') {
      this.picked = [];
      if (near) {
        this.step();
        this.outline.net.splice(near.index + 1, 0, near.at);
        this.outline.edges.splice(near.index + 1, 0, this.outline.edges[near.index]);
        this.picked = [{ list: 'net', index: 0, point: near.index + 1 }];
        this.edge = null;
      }
      this.draw();
      return;
    }
    // A relief cut begins on the edge.
    this.drawing.push(this.tool === 'relief' && this.drawing.length === 0 && near ? near.at : p);
    if (this.tool === 'arrow' && this.drawing.length === 2) this.closeLine();
    else this.draw();
  }

  /** @param {Corner} a @param {Corner} b */
  isSame(a, b) {
    return a.list === b.list && a.index === b.index && a.point === b.point;
  }

  /** @param {PointerEvent} event */
  moved(event) {
    const before = this.fingers.get(event.pointerId);
    if (!before) return;
    const now = { x: event.clientX, y: event.clientY };
    if (this.fingers.size === 2) {
      const other = [...this.fingers.entries()].find(([id]) => id !== event.pointerId)?.[1];
      this.fingers.set(event.pointerId, now);
      if (!other) return;
      const apart = (/** @type {Point} */ p) => Math.hypot(p.x - other.x, p.y - other.y) || 1;
      this.zoom(this.place({ clientX: (now.x + other.x) / 2, clientY: (now.y + other.y) / 2 }), apart(before) / apart(now));
      return;
    }
    const dragging = this.dragging;
    if (!dragging) return;
    const p = this.place(event);
    if (dragging.corner) {
      if (!dragging.begun && Math.hypot(now.x - before.x, now.y - before.y) < 4) return;
      if (!dragging.begun) this.step();
      dragging.begun = true;
      Object.assign(this.at(dragging.corner), p);
      this.draw();
      this.showLoupe(p, event);
    } else if (dragging.ground) {
      this.view = { ...this.view, x: this.view.x - (p.x - dragging.ground.x), y: this.view.y + (p.y - dragging.ground.y) };
      this.draw();
    }
  }

  /** What lies under the finger, five times as large, beside it. @param {Point} p @param {PointerEvent} event */
  showLoupe(p, event) {
    this.loupe?.remove();
    const loupe = /** @type {SVGSVGElement} */ (this.svg.cloneNode(true));
    const side = 30 * this.pixel;
    loupe.setAttribute('class', 'loupe');
    loupe.setAttribute('viewBox', `${p.x - side / 2} ${-p.y - side / 2} ${side} ${side}`);
    loupe.removeAttribute('tabindex');
    const box = this.svg.getBoundingClientRect();
    loupe.style.left = event.clientX - box.left > box.width / 2 ? '8px' : 'auto';
    loupe.style.right = event.clientX - box.left > box.width / 2 ? 'auto' : '8px';
    loupe.style.top = '8px';
    loupe.style.height = '9rem';
    this.canvas.append(loupe);
    this.loupe = loupe;
  }

  /** @param {PointerEvent} event */
  up(event) {
    this.fingers.delete(event.pointerId);
    this.dragging = null;
    this.loupe?.remove();
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    const ways = /** @type {Record<string, number[]>} */ ({ ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] });
    const way = ways[event.key];
    const command = event.ctrlKey || event.metaKey;
    if (way && this.puts) {
      // A cross that is moved by the keys takes the place of the finger.
      const by = event.shiftKey ? this.pixel : 12 * this.pixel;
      const from = this.cursor ?? (this.picked[0] ? this.at(this.picked[0]) : { x: this.view.x + this.view.w / 2, y: -this.view.y - this.view.h / 2 });
      this.cursor = { x: from.x + way[0] * by, y: from.y + way[1] * by };
    } else if (event.key === ' ' && this.puts) {
      if (this.cursor) this.put(this.cursor);
    } else if (way && this.picked.length > 0) {
      this.step();
      for (const corner of this.picked) {
        const p = this.at(corner);
        const by = event.shiftKey ? 1 : 0.1;
        Object.assign(p, { x: p.x + way[0] * by, y: p.y + way[1] * by });
      }
    } else if (way) {
      const by = 40 * this.pixel;
      this.view = { ...this.view, x: this.view.x + way[0] * by, y: this.view.y - way[1] * by };
    } else if (event.key === 'n' || event.key === 'p') {
      const all = this.corners();
      const here = this.picked[0] ? all.findIndex((c) => this.isSame(c, this.picked[0])) : -1;
      this.picked = [all[(here + (event.key === 'n' ? 1 : -1) + all.length) % all.length]];
      this.edge = null;
    } else if (event.key === 'e') {
      const count = this.outline.net.length;
      this.edge = this.edge === null ? (this.picked[0]?.list === 'net' ? this.picked[0].point : 0) : (this.edge + 1) % count;
    } else if (event.key === 'Delete' || event.key === 'Backspace') this.remove();
    else if (event.key === 'Enter') this.closeLine();
    else if (event.key === 'Escape') {
      this.drawing = [];
      this.picked = [];
      this.edge = null;
      this.tool = 'select';
    } else if (event.key === '+' || event.key === '-') {
      const view = this.view;
      this.zoom({ x: view.x + view.w / 2, y: -(view.y + view.h / 2) }, event.key === '+' ? 1 / 1.2 : 1.2);
    } else if (command && event.key === 'z') this.back(this.done, this.undone);
    else if (command && event.key === 'y') this.back(this.undone, this.done);
    else if (command && event.key === 's') this.save();
    else return;
    event.preventDefault();
    this.draw();
  }

  async save() {
    const sent = JSON.stringify(this.outline);
    const body = JSON.stringify({ rev: this.rev, outline: this.data() });
    let answer;
    try {
      answer = await fetch(this.dataset.to ?? '', { method: 'POST', body, headers: { 'content-type': 'application/json' } });
    } catch {
      this.said.textContent = `${this.t('unsaved')} ▲`;
      return;
    }
    if (answer.ok) {
      const saved = await answer.json();
      this.rev = saved.rev;
      this.saved = sent;
      this.faults = [];
      this.said.textContent = `✓ ${this.t('saved')} ${saved.file}`;
    } else if (answer.status === 422) this.faults = await answer.json();
    else this.faults = [{ what: `${this.t('unsaved')} (${answer.status})`, at: null }];
    this.draw();
  }
}

customElements.define('outline-editor', OutlineEditor);

export {};

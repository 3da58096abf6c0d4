// @ts-check
// The pieces at the bench, one by one: large, by taps. Which piece may become what is the server's to say; here it is drawn, and ticks
// are kept until they are sent.
import { Ticking, say } from './tick-queue.js';

/** @typedef {import('./tick-queue.js').State} State */

const SIGNS = /** @type {Record<string, string>} */ ({ tocut: '○', cut: '✓', laid: '▣', spoiled: '✕', again: '↻' });

/** Two taps nearer to each other than this are one, ms. */
const TWICE = 350;
const isOpen = (/** @type {string} */ state) => state === 'tocut' || state === 'again';
/** What the page was drawn for. @param {State} state */
const drawnFor = (state) => [state.plan, ...state.changed].join(' ');
/** @type {{at: string, to: string} | null} the last tick made here: it outlives the page's being drawn anew */
let last = null;

class CuttingList extends Ticking {
  rows = /** @type {HTMLElement[]} */ ([]);
  unsent = /** @type {import('./tick-queue.js').Tick[]} */ ([]);
  tapped = 0;
  at = '';

  connectedCallback() {
    const state = this.begin();
    this.drawn = drawnFor(state);
    /** @type {Record<string, string>} as the server has them */
    this.states = state.states;
    this.rows = [...this.querySelectorAll('li[data-at]')].filter((row) => row instanceof HTMLElement);
    this.at = this.firstToCut() ?? this.rows[0]?.dataset.at ?? '';
    this.addEventListener('click', (event) => this.clicked(/** @type {Element} */ (event.target)));
    this.keys = (/** @type {KeyboardEvent} */ event) => this.pressed(event);
    document.addEventListener('keydown', this.keys);
    this.parentElement?.querySelector('.recut')?.addEventListener('click', () => this.recut());
    this.queue?.open();
    this.draw();
  }

  disconnectedCallback() {
    super.disconnectedCallback();
    if (this.keys) document.removeEventListener('keydown', this.keys);
  }

  /** What a copy is once everything that waits is counted. @param {string} at */
  state(at) {
    const past = [this.states?.[at] ?? 'tocut'];
    for (const tick of this.unsent) {
      if (`${tick.piece}#${tick.copy}` !== at) continue;
      if (tick.to !== 'back') past.push(tick.to);
      else if (past.length > 1) past.pop();
      else past[0] = past[0] === 'laid' || past[0] === 'spoiled' ? 'cut' : 'tocut';
    }
    return past[past.length - 1];
  }

  /** @param {number} [from] */
  firstToCut(from = 0) {
    const order = [...this.rows.slice(from), ...this.rows.slice(0, from)];
    return order.find((row) => !row.dataset.refused && isOpen(this.state(row.dataset.at ?? '')))?.dataset.at;
  }

  index() {
    return this.rows.findIndex((row) => row.dataset.at === this.at);
  }

  /** @param {Element} target */
  clicked(target) {
    const named = target.closest('[data-at]');
    const tap = target.closest('.tap');
    if (tap?.classList.contains('cut')) this.tick('cut');
    else if (tap?.classList.contains('spoiled')) this.tick('spoiled');
    else if (tap?.classList.contains('back')) this.tick('back');
    else if (tap?.classList.contains('previous')) this.step(-1);
    else if (tap?.classList.contains('next')) this.step(1);
    else if (tap?.classList.contains('undo') && last) {
      this.at = last.at;
      this.tick('back');
    } else if (named instanceof HTMLElement || named instanceof SVGElement) {
      this.at = named.dataset.at ?? '';
      this.draw();
      this.querySelector('.now')?.scrollIntoView({ block: 'nearest' });
    }
  }

  /** @param {KeyboardEvent} event */
  pressed(event) {
    if (event.ctrlKey || event.altKey || event.metaKey || (event.target instanceof HTMLElement && event.target.matches('input, select, textarea'))) return;
    if (event.key === 'ArrowRight' || event.key === 'PageDown') this.step(1);
    else if (event.key === 'ArrowLeft' || event.key === 'PageUp') this.step(-1);
    else return;
    event.preventDefault();
  }

  /** @param {number} by */
  step(by) {
    this.at = this.rows.at((this.index() + by) % this.rows.length)?.dataset.at ?? '';
    this.draw();
  }

  /** @param {string} to */
  tick(to) {
    const cut = this.at.lastIndexOf('#');
    if (cut < 0) return;
    const state = this.state(this.at);
    // A glove that taps twice means the one piece, not the next as well.
    if (Date.now() - this.tapped < TWICE || state === to || (to === 'back' && state === 'tocut')) return;
    this.tapped = Date.now();
    const at = this.at;
    last = to === 'back' ? null : { at, to };
    this.queue?.put({ piece: at.slice(0, cut), copy: Number(at.slice(cut + 1)), to });
    if (to !== 'back') this.at = this.firstToCut(this.index()) ?? at;
    this.draw();
  }

  /** @param {number} count */
  waits(count) {
    super.waits(count);
    this.unsent = this.queue?.list ?? [];
    this.draw();
  }

  /** @param {{results: import('./tick-queue.js').Result[], state: State | null, batch: import('./tick-queue.js').Tick[]}} said */
  answered(said) {
    const refused = said.results.map((r) => r.refused).filter(Boolean);
    say(refused.join(''));
    const wasOpen = isOpen(this.state(this.at));
    if (said.state) this.states = said.state.states;
    const lost = said.batch.filter((tick) => said.results.some((r) => r.key === tick.key && r.refused));
    if (last && lost.some((tick) => `${tick.piece}#${tick.copy}` === last?.at)) {
      this.at = last.at;
      last.to = 'refused';
    }
    // Cut by another meanwhile: the next one.
    if (wasOpen && !isOpen(this.state(this.at))) this.at = this.firstToCut(this.index()) ?? this.at;
    this.draw();
    if (said.state && drawnFor(said.state) !== this.drawn) this.anew(refused.join(''));
    else if (said.batch.some((tick) => tick.to === 'spoiled') && refused.length === 0) this.recut();
  }

  /** The step as it is now, with what is to be said. */
  anew(words = '') {
    if (this.waiting > 0) return;
    const htmx = /** @type {any} */ (window).htmx;
    htmx.ajax('GET', location.pathname, { target: '#step', swap: 'innerHTML' }).then(() => say(words));
  }

  async recut() {
    say(this.words.recutting);
    try {
      const answer = await fetch(`${this.dataset.bench}/recut`, { method: 'POST' });
      say(answer.ok ? '' : await answer.text());
      if (answer.ok) this.anew();
    } catch {
      say(this.words.failed);
    }
  }

  draw() {
    const { words, rows } = this;
    for (const named of this.querySelectorAll('[data-at]')) {
      if (!(named instanceof HTMLElement || named instanceof SVGElement)) continue;
      const state = this.state(named.dataset.at ?? '');
      for (const other of Object.keys(SIGNS)) named.classList.toggle(`is-${other}`, other === state);
      named.classList.toggle('is-now', named.dataset.at === this.at);
      const sign = named.querySelector('.sign');
      if (sign) sign.textContent = `${SIGNS[state]} `;
      const said = named.querySelector('.said');
      if (said) said.textContent = state === 'tocut' ? words.tocut : words[`is_${state}`];
    }
    const done = rows.filter((row) => ['cut', 'laid'].includes(this.state(row.dataset.at ?? ''))).length;
    const count = words.count.replace('{}', String(done)).replace('{}', String(rows.length));
    const row = rows[this.index()];
    const state = this.state(this.at);
    const refused = isOpen(state) ? row?.dataset.refused : undefined;
    /** @type {[string, string | undefined][]} */
    const texts = [
      ['.count', done === rows.length ? `${count} – ${words.all_cut}` : count],
      ['.number', row?.dataset.number],
      ['.label', row?.dataset.label],
      ['.face b', row?.dataset.face],
      ['.where', refused ?? row?.dataset.where],
      ['.last span', last ? `${rows.find((r) => r.dataset.at === last?.at)?.dataset.number}: ${words[`is_${last.to}`]}${this.waiting || last.to === 'refused' ? '' : `, ${words.saved}`}` : ''],
    ];
    for (const [place, text] of texts) {
      const found = this.querySelector(`.now ${place}`);
      if (found && found.textContent !== text) found.textContent = text ?? '';
    }
    const taps = /** @type {[string, boolean][]} */ ([['cut', isOpen(state) && !refused], ['spoiled', state !== 'spoiled' && !refused], ['back', state !== 'tocut'], ['undo', last !== null && last.to !== 'refused']]);
    for (const [tap, is] of taps) this.querySelector(`.tap.${tap}`)?.toggleAttribute('hidden', !is);
    for (const bench of this.querySelectorAll('.bench')) bench.classList.toggle('on-it', row !== undefined && bench.contains(row));
  }
}

customElements.define('cutting-list', CuttingList);

// @ts-check
// Ticks, kept in this browser until the server has them, and sent in their order. Each has a key of its own: sent twice it counts once.

/** @typedef {{key: string, kit: string} & Record<string, any>} Tick */
/** @typedef {{key: string, saved?: boolean, ask?: string[], refused?: string}} Result */
/** @typedef {{stamp: string, kit: string, plan: string, changed: string[], states: Record<string, string>}} State */

/** How long after a failure it is tried again, and how often the server is asked how it stands, ms. */
const AGAIN = 3000;
const LOOK = 2500;

/** A key that nobody else makes; `randomUUID` is not there on a plain connection. */
export function newKey() {
  return [...crypto.getRandomValues(new Uint8Array(16))].map((b) => b.toString(16).padStart(2, '0')).join('');
}

/** Tells of `answer` (results and state), `waiting` (how many are not sent) and `trouble` (words or a status). */
export class TickQueue extends EventTarget {
  /** @param {string} at the address of the job's bench @param {State} state as the page had it */
  constructor(at, state) {
    super();
    this.at = at;
    this.kit = state.kit;
    this.stamp = state.stamp;
    this.name = `warpwise-ticks ${at}`;
    /** @type {Tick[]} what the browser does not let us keep */
    this.unkept = [];
    this.sending = false;
    this.timer = 0;
  }

  /** Begins to send what was left, and to hear of others. */
  open() {
    this.online = () => this.send();
    window.addEventListener('online', this.online);
    this.timer = window.setInterval(() => this.look(), LOOK);
    this.emit('waiting', this.list.length);
    this.send();
  }

  close() {
    if (this.online) window.removeEventListener('online', this.online);
    window.clearInterval(this.timer);
  }

  /** @returns {Tick[]} */
  get list() {
    try {
      return [...JSON.parse(localStorage.getItem(this.name) ?? '[]'), ...this.unkept];
    } catch {
      return this.unkept;
    }
  }

  /** @param {Tick[]} list */
  set list(list) {
    try {
      localStorage.setItem(this.name, JSON.stringify(list));
      this.unkept = [];
    } catch {
      this.unkept = list;
    }
    this.emit('waiting', list.length);
  }

  /** @param {string} what @param {any} detail */
  emit(what, detail) {
    this.dispatchEvent(new CustomEvent(what, { detail }));
  }

  /** @param {Record<string, any>} tick */
  put(tick) {
    this.list = [...this.list, { key: newKey(), kit: this.kit, ...tick }];
    this.send();
  }

  async send() {
    const [first] = this.list;
    if (this.sending || !first) return;
    this.sending = true;
    // Those of one kit at a time: a plan that is gone says so of its own.
    const batch = this.list.filter((tick) => tick.kit === first.kit);
    try {
      const body = JSON.stringify({ kit: first.kit, ticks: batch });
      const answer = await fetch(`${this.at}/tick`, { method: 'POST', body, headers: { 'content-type': 'application/json' } });
      if (!answer.ok) {
        this.emit('trouble', { status: answer.status, html: answer.status === 422 ? await answer.text() : '' });
        return;
      }
      const said = await answer.json();
      /** @type {Set<string>} */
      const done = new Set(said.results.map((/** @type {Result} */ r) => r.key));
      this.list = this.list.filter((tick) => !done.has(tick.key));
      if (said.state) this.stamp = said.state.stamp;
      // A second device has no rail.
      const rail = document.getElementById('rail');
      if (rail && said.rail) rail.outerHTML = said.rail;
      this.emit('answer', { ...said, batch });
    } catch {
      // The network is down: they stay.
    } finally {
      this.sending = false;
      if (this.list.length > 0) window.setTimeout(() => this.send(), AGAIN);
    }
  }

  /** How it stands now: others may have ticked. */
  async look() {
    if (this.sending || document.hidden || this.list.length > 0) return;
    try {
      const answer = await fetch(`${this.at}/state?seen=${this.stamp}`);
      if (answer.status === 401 || answer.status === 403) this.emit('trouble', { status: answer.status, html: '' });
      if (answer.status !== 200 || this.sending) return;
      const state = /** @type {State} */ (await answer.json());
      this.stamp = state.stamp;
      this.emit('answer', { results: [], state, batch: [] });
    } catch {
      // The next look says more.
    }
  }
}

/** Says something at the foot of the page. @param {string} html made by the server, or plain words of the page */
export function say(html) {
  const place = document.getElementById('message');
  if (place) place.innerHTML = html;
}

/** Something on a page that is ticked. */
export class Ticking extends HTMLElement {
  words = /** @type {Record<string, string>} */ ({});

  /** Begins with what the server drew. @returns {State} */
  begin() {
    const state = /** @type {State} */ (JSON.parse(this.dataset.state ?? '{}'));
    this.words = JSON.parse(this.dataset.words ?? '{}');
    this.queue = new TickQueue(this.dataset.bench ?? '', state);
    const heard = /** @type {[string, (detail: any) => void][]} */ ([['waiting', (n) => this.waits(n)], ['answer', (a) => this.answered(a)], ['trouble', (t) => this.failed(t)]]);
    for (const [what, hear] of heard) this.queue.addEventListener(what, (event) => hear(/** @type {CustomEvent} */ (event).detail));
    return state;
  }

  disconnectedCallback() {
    this.queue?.close();
  }

  get waiting() {
    return this.queue?.list.length ?? 0;
  }

  /** @param {number} count */
  waits(count) {
    const place = this.querySelector('.unsent');
    if (place) place.textContent = count > 0 ? this.words.unsent.replace('{}', String(count)) : '';
    this.classList.toggle('waits', count > 0);
  }

  /** @param {{results: Result[], state: State | null, batch: Tick[]}} _said */
  answered(_said) {}

  /** @param {{status: number, html: string}} what */
  failed(what) {
    say(what.html || (what.status === 401 || what.status === 403 ? this.words.link : this.words.failed));
  }
}

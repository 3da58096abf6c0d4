// @ts-check
// The lay-up: boxes and clocks. What may follow what is the server's to say; it is asked about here.
import { Ticking, say } from './tick-queue.js';

/** @typedef {import('./tick-queue.js').Tick} Tick */

class LayUp extends Ticking {
  connectedCallback() {
    this.begin();
    this.addEventListener('change', (event) => {
      const box = event.target;
      if (box instanceof HTMLInputElement && box.type === 'checkbox' && box.dataset.act) this.act(box, { on: box.checked });
      else if (box instanceof Element) this.sent(box.closest('[data-form][data-act]'));
    });
    this.addEventListener('click', (event) => {
      if (event.target instanceof Element) this.sent(event.target.closest('button[data-act]'));
    });
    this.addEventListener('focusout', () => this.late && this.anew());
    this.queue?.open();
  }

  /** Does what a button or what fields are for. @param {Element | null} from */
  sent(from) {
    const typed = from instanceof HTMLElement && this.typed(from);
    if (typed) this.act(from, typed);
  }

  /** What stands in the fields beside a button; nothing if one is no number, which is said there. @param {HTMLElement} button */
  typed(button) {
    /** @type {Record<string, string | number | null>} */
    const typed = {};
    for (const field of button.closest('[data-form]')?.querySelectorAll('[name]') ?? []) {
      if (!(field instanceof HTMLInputElement || field instanceof HTMLTextAreaElement)) continue;
      if (!field.reportValidity()) return null;
      const text = field.value.trim();
      const number = Number(text.replace(',', '.'));
      // Sent, it is no longer only here.
      field.defaultValue = field.value;
      if (field.dataset.number === undefined) typed[field.name] = text;
      else typed[field.name] = text === '' ? null : number;
    }
    return typed;
  }

  /** @param {HTMLElement} from @param {Record<string, any>} more */
  act(from, more) {
    const act = JSON.parse(from.dataset.act ?? '{}');
    const [what] = Object.keys(act);
    const job = from.closest('[data-job]')?.getAttribute('data-job') ?? '';
    this.queue?.put({ job, act: { [what]: { ...act[what], ...more } } });
  }

  /** @param {{results: import('./tick-queue.js').Result[], batch: Tick[]}} said */
  answered(said) {
    const refused = said.results.map((r) => r.refused ?? '').join('');
    say(refused);
    const asked = said.results.find((r) => r.ask);
    const tick = said.batch.find((t) => t.key === asked?.key);
    // Fields show what they kept: drawn anew under a finger that goes on to a box, they would swallow its tap.
    const shown = !refused && said.batch.every((t) => t.act && ('who' in t.act || 'note' in t.act));
    if (asked?.ask && tick) this.ask(asked.ask, tick);
    else if (!shown) this.anew(refused);
  }

  /** Says what is open; only a yes goes past it. @param {string[]} open @param {Tick} tick */
  ask(open, tick) {
    const dialog = this.querySelector('dialog.ask');
    const list = dialog?.querySelector('ul');
    if (!(dialog instanceof HTMLDialogElement) || !list) return;
    list.replaceChildren(...open.map((words) => {
      const item = document.createElement('li');
      item.lang = 'en';
      item.textContent = words;
      return item;
    }));
    const { key, ...again } = tick;
    const answer = (/** @type {boolean} */ yes) => {
      dialog.close();
      if (yes) this.queue?.put({ ...again, despite: true });
      else this.anew();
    };
    const [yes, no] = dialog.querySelectorAll('button');
    yes.onclick = () => answer(true);
    no.onclick = () => answer(false);
    dialog.oncancel = () => answer(false);
    if (!dialog.open) dialog.showModal();
    no.focus();
  }

  /** The step as it is now, with what is to be said; what is typed and not sent stays, and what was opened. */
  anew(words = '') {
    const fields = [...this.querySelectorAll('input[name], textarea')].filter((f) => f instanceof HTMLInputElement || f instanceof HTMLTextAreaElement);
    const typed = fields.filter((f) => f.type !== 'hidden' && f.value !== f.defaultValue).map((f) => [f.id, f.value]);
    const here = document.activeElement;
    this.late = typed.some(([id]) => id === here?.id);
    if (this.waiting > 0 || this.late || this.querySelector('dialog[open]')) return;
    const folds = [...this.querySelectorAll('details[id]')].filter((d) => d instanceof HTMLDetailsElement && d.open !== (d.dataset.open === 'true'));
    const turned = folds.map((d) => [d.id, d.hasAttribute('open')]);
    /** @type {any} */ (window).htmx.ajax('GET', this.dataset.page, { target: '#step', swap: 'innerHTML' }).then(() => {
      for (const [id, value] of typed) {
        const field = document.getElementById(id);
        if (field instanceof HTMLInputElement || field instanceof HTMLTextAreaElement) field.value = value;
      }
      for (const [id, open] of turned) document.getElementById(String(id))?.toggleAttribute('open', Boolean(open));
      say(words);
    });
  }
}

/** Three tones, again and again, until somebody looks. */
function ring() {
  try {
    const sound = new AudioContext();
    const quiet = sound.createGain();
    quiet.gain.value = 0.3;
    quiet.connect(sound.destination);
    for (const [i, tone] of [880, 1109, 1319].entries()) {
      const voice = sound.createOscillator();
      voice.frequency.value = tone;
      voice.connect(quiet);
      voice.start(sound.currentTime + 0.25 * i);
      voice.stop(sound.currentTime + 0.25 * i + 0.2);
    }
    window.setTimeout(() => sound.close(), 1500);
  } catch {
    // Without sound it is seen.
  }
  navigator.vibrate?.([300, 100, 300]);
}

/** Counts down to an end that the server knows, by the server's clock; rings when it is over. */
class BenchClock extends HTMLElement {
  connectedCallback() {
    const now = Number(this.closest('lay-up')?.getAttribute('data-now') ?? 0);
    this.ahead = now - Date.now() / 1000;
    this.ends = Number(this.dataset.ends);
    this.rung = 0;
    this.title0 = document.title.replace(/^● /, '');
    this.timer = window.setInterval(() => this.show(), 500);
    this.show();
  }

  disconnectedCallback() {
    window.clearInterval(this.timer);
    document.title = this.title0 ?? document.title;
  }

  show() {
    const words = /** @type {Record<string, string>} */ (JSON.parse(this.closest('lay-up')?.getAttribute('data-words') ?? '{}'));
    const left = Math.ceil((this.ends ?? 0) - (Date.now() / 1000 + (this.ahead ?? 0)));
    const place = this.querySelector('.time');
    if (!place) return;
    const two = (/** @type {number} */ n) => String(n).padStart(2, '0');
    const hours = Math.floor(left / 3600);
    const text = left > 0
      ? `${hours > 0 ? `${hours}:` : ''}${two(Math.floor(left / 60) % 60)}:${two(left % 60)} ${words.left}`
      : `● ${this.dataset.name} ${words.rings}${left < -59 ? `, ${words.over?.replace('{}', String(Math.floor(-left / 60)))}` : ''}`;
    if (place.textContent !== text) place.textContent = text;
    this.classList.toggle('over', left <= 0);
    if (left > 0) return;
    document.title = `● ${this.title0}`;
    // Twelve times over three minutes, then it is only seen.
    if (this.rung !== undefined && this.rung < 12 && -left >= 15 * this.rung) {
      this.rung = Math.max(this.rung + 1, Math.min(12, Math.floor(-left / 15)));
      ring();
    }
  }
}

customElements.define('lay-up', LayUp);
customElements.define('bench-clock', BenchClock);

// @ts-check
// What every page does: notes put beside their fields, changes by others heard, a message taken away.
import './drop-zone.js';
import './plan-watch.js';
import './plan-picture.js';
import './layer-list.js';
import './cutting-list.js';
import './lay-up.js';

/** @type {any} */
const htmx = /** @type {any} */ (window).htmx;

/**
 * Puts all notes of an answer where they belong: each beside its field, those without one at the foot.
 * @param {string} answer
 */
function placeNotes(answer) {
  const found = new DOMParser().parseFromString(answer, 'text/html').querySelector('template[data-notes]');
  if (!(found instanceof HTMLTemplateElement)) return;
  /** @type {Map<string, HTMLElement>} */
  const notes = new Map();
  for (const note of found.content.children) {
    if (note instanceof HTMLElement) notes.set(note.dataset.for ?? '', note);
  }
  for (const slot of document.querySelectorAll('[data-slot]')) {
    if (!(slot instanceof HTMLElement)) continue;
    const key = slot.dataset.slot ?? '';
    const note = notes.get(key);
    notes.delete(key);
    fill(slot, note ? note.innerHTML : '');
    const field = document.getElementById(slot.id.replace(/-notes$/, ''));
    if (field && note && note.hasAttribute('data-fault')) field.setAttribute('aria-invalid', 'true');
    else field?.removeAttribute('aria-invalid');
  }
  // What this step has no field for stands where it has one: the rail says so.
}

/**
 * @param {HTMLElement} place
 * @param {string} html made by the server, its texts escaped there
 */
function fill(place, html) {
  if (place.innerHTML === html) return;
  place.innerHTML = html;
  htmx.process(place);
}

document.addEventListener('htmx:afterRequest', (event) => {
  const detail = /** @type {CustomEvent} */ (event).detail;
  answered = Date.now();
  if (detail.xhr?.responseText) placeNotes(detail.xhr.responseText);
  // What renews itself beside a message is no answer to it.
  const asked = detail.requestConfig?.elt;
  const beside = asked instanceof HTMLElement && asked.dataset.beside !== undefined;
  if (!beside && detail.xhr?.getResponseHeader('hx-retarget') !== '#message') close();
});

const message = document.getElementById('message');
const close = () => message?.replaceChildren();
document.querySelector('.messages > button')?.addEventListener('click', close);
document.addEventListener('keydown', (event) => event.key === 'Escape' && close());
// What was just used does not lie under the message.
if (message) new MutationObserver(() => message.hasChildNodes() && document.activeElement?.closest('a, button, input, select')?.scrollIntoView({ block: 'nearest' })).observe(message, { childList: true });

// What was asked of a cloth's name is not asked of another.
document.addEventListener('input', (event) => {
  if (event.target instanceof HTMLInputElement && event.target.name === 'cloth') event.target.form?.querySelector('[id^=asks-]')?.replaceChildren();
});

/** The step that is shown stands in sight, where the rail is too long for the window. */
function showStep() {
  const rail = document.getElementById('rail');
  const here = rail?.querySelector('[aria-current]');
  if (rail && here instanceof HTMLElement) rail.scrollLeft = here.offsetLeft - (rail.clientWidth - here.offsetWidth) / 2;
}
showStep();
document.addEventListener('htmx:afterSettle', showStep);

// A choice that loads another page.
document.addEventListener('change', (event) => {
  const field = event.target;
  if (field instanceof HTMLSelectElement && field.dataset.submits !== undefined) field.form?.submit();
});

/** The newest revision that was heard of, and when this page last had an answer. */
let newest = '';
let answered = 0;

/** Shows the step anew if another has changed the job; an answer to an edit of this page may be on its way still. */
function lookAgain() {
  const seen = document.getElementById('rev');
  if (!(seen instanceof HTMLInputElement) || seen.value === newest) return;
  if (Date.now() - answered < 700) {
    setTimeout(lookAgain, 700);
    return;
  }
  const typing = document.activeElement instanceof HTMLInputElement && document.activeElement.type !== 'checkbox';
  const view = document.getElementById('tools')?.dataset.view;
  // Somebody who is typing is told when the edit is refused; what they typed stays.
  if (!typing && view) htmx.ajax('GET', view, { source: '#tools', target: '#step', swap: 'innerHTML' });
}

/** Hears what is new about the job that is shown. */
function watch() {
  const tools = document.getElementById('tools');
  if (!tools?.dataset.watch) return;
  const source = new EventSource(tools.dataset.watch);
  // The browser asks again by itself; a longer silence is told.
  const lost = document.getElementById('lost');
  const look = () => { if (lost) lost.hidden = source.readyState === EventSource.OPEN; };
  source.addEventListener('open', look);
  source.addEventListener('error', () => setTimeout(look, 3000));
  source.addEventListener('planning', (event) => {
    document.dispatchEvent(new CustomEvent('planning', { detail: JSON.parse(event.data) }));
  });
  source.addEventListener('revision', (event) => {
    newest = event.data;
    setTimeout(lookAgain, 700);
  });
  window.addEventListener('pagehide', () => source.close());
}
watch();

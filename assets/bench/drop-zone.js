// @ts-check
// A place where files are dropped or chosen; each is sent as it is, and the server says what became of it.

/** @type {any} */
const htmx = () => /** @type {any} */ (window).htmx;

class DropZone extends HTMLElement {
  connectedCallback() {
    this.addEventListener('dragover', (event) => {
      event.preventDefault();
      this.classList.add('over');
    });
    this.addEventListener('dragleave', () => this.classList.remove('over'));
    this.addEventListener('drop', (event) => {
      event.preventDefault();
      this.classList.remove('over');
      this.send([...(event.dataTransfer?.files ?? [])]);
    });
    const field = this.querySelector('input[type=file]');
    if (field instanceof HTMLInputElement) {
      field.addEventListener('change', () => this.send([...(field.files ?? [])]));
    }
  }

  /** @param {File[]} files */
  async send(files) {
    const working = this.querySelector('.working');
    const query = new URLSearchParams();
    for (const field of this.querySelectorAll('[data-with]')) {
      if (field instanceof HTMLSelectElement || field instanceof HTMLInputElement) query.set(field.dataset.with ?? '', field.value);
    }
    say('');
    const rev = document.getElementById('rev');
    if (rev instanceof HTMLInputElement) query.set('rev', rev.value);
    for (const file of files) {
      if (working) working.textContent = `${this.dataset.working} ${file.name}`;
      query.set('name', file.name);
      try {
        const answer = await fetch(`${this.dataset.to}?${query}`, { method: 'POST', body: file, headers: { 'hx-request': 'true' } });
        const text = await answer.text();
        if (answer.ok) htmx().swap('#step', text, { swapStyle: 'innerHTML' });
        else {
          say(text);
          // A photo that cannot be traced is kept: it is listed.
          document.dispatchEvent(new Event('refused'));
        }
      } catch {
        say(this.dataset.failed ?? '');
      }
    }
    if (working) working.textContent = '';
  }
}

/** Adds to the message; nothing takes it away. @param {string} html made by the server, its texts escaped there */
function say(html) {
  if (html) document.getElementById('message')?.insertAdjacentHTML('beforeend', html);
  else document.getElementById('message')?.replaceChildren();
}

/** A photo that was not understood: a click on the skin traces it once more. By keyboard: Enter takes its middle. */
class SkinFinder extends HTMLElement {
  connectedCallback() {
    const picture = this.querySelector('img');
    picture?.addEventListener('click', (event) => {
      const box = picture.getBoundingClientRect();
      this.send(picture, (event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height);
    });
    picture?.addEventListener('keydown', (event) => {
      if (event.key === 'Enter') this.send(picture, 0.5, 0.5);
    });
  }

  /** @param {HTMLImageElement} picture @param {number} across @param {number} down shares of its size */
  async send(picture, across, down) {
    const at = `x=${(across * picture.naturalWidth).toFixed(1)}&y=${(down * picture.naturalHeight).toFixed(1)}`;
    this.setAttribute('aria-busy', 'true');
    const answer = await fetch(`${this.dataset.to}&${at}`, { method: 'POST', headers: { 'hx-request': 'true' } });
    const text = await answer.text();
    say('');
    if (answer.ok) htmx().swap('#step', text, { swapStyle: 'innerHTML' });
    else say(text);
  }
}

customElements.define('skin-finder', SkinFinder);
customElements.define('drop-zone', DropZone);

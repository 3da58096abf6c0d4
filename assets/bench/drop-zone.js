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
        say('', this.dataset.failed);
      }
    }
    if (working) working.textContent = '';
  }
}

/**
 * @param {string} html made by the server, its texts escaped there
 * @param {string} [words]
 */
function say(html, words) {
  const place = document.getElementById('message');
  if (!place) return;
  if (words) place.textContent = words;
  else place.innerHTML = html;
}

customElements.define('drop-zone', DropZone);

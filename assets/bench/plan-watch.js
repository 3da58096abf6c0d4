// @ts-check
// How planning goes: phase, share done, first and best length. The page hears of it; this shows it.

class PlanWatch extends HTMLElement {
  connectedCallback() {
    this.heard = (/** @type {Event} */ event) => this.show(/** @type {CustomEvent} */ (event).detail);
    document.addEventListener('planning', this.heard);
  }

  disconnectedCallback() {
    if (this.heard) document.removeEventListener('planning', this.heard);
  }

  /** @param {{phase: string, cloth: string, share: number, first_length: number | null, least_length: number | null, best_length: number | null, density: number | null}} news */
  show(news) {
    if (news.phase === 'done' || news.phase === 'refused') {
      /** @type {any} */ (window).htmx.ajax('GET', this.dataset.done, { target: '#step', swap: 'innerHTML' });
      return;
    }
    const words = this.dataset;
    const phase = this.querySelector('.phase');
    const doing = news.phase === 'writing' ? words.writing : news.phase === 'searching' ? news.cloth : words.begun;
    if (phase && phase.textContent !== doing) phase.textContent = doing ?? '';
    const progress = this.querySelector('progress');
    if (progress) progress.value = news.share;
    const lengths = this.querySelector('.lengths');
    if (!lengths || news.best_length === null) return;
    const metres = (/** @type {number} */ mm) => `${(mm / 1000).toFixed(3)} m`;
    const first = news.first_length ?? news.best_length;
    const saved = first > 0 ? (100 * (first - news.best_length)) / first : 0;
    const said = [`${words.first}: ${metres(first)}`, `${words.best}: ${metres(news.best_length)}`, `${saved.toFixed(1)} % ${words.saved}`];
    if (news.density !== null) said.push(`${words.yield}: ${(100 * news.density).toFixed(1)} %`);
    if (news.least_length) said.push(`${words.least}: ${metres(news.least_length)}`);
    lengths.textContent = said.join(' · ');
  }
}

customElements.define('plan-watch', PlanWatch);

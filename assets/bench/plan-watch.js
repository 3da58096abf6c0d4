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

  /** @param {{phase: string, cloth: string, share: number, said?: string}} news */
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
    if (lengths && news.said) lengths.textContent = news.said;
  }
}

customElements.define('plan-watch', PlanWatch);

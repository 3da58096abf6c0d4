// @ts-check
// Layers dragged into another place of the laying order; the buttons beside them do the same by keyboard.

/** @type {HTMLElement | null} */
let dragged = null;

/** @param {EventTarget | null} place */
const layerAt = (place) => (place instanceof Element ? place.closest('.layers > li') : null);

document.addEventListener('dragstart', (event) => {
  if (!(event.target instanceof Element) || !event.target.classList.contains('grip')) return;
  const layer = layerAt(event.target);
  if (!(layer instanceof HTMLElement)) return;
  dragged = layer;
  event.dataTransfer?.setData('text/plain', layer.dataset.index ?? '');
  event.dataTransfer?.setDragImage(layer, 10, 10);
});

document.addEventListener('dragover', (event) => {
  const layer = layerAt(event.target);
  if (!dragged || !layer) return;
  event.preventDefault();
  document.querySelectorAll('.layers > .over').forEach((other) => other.classList.toggle('over', other === layer));
  layer.classList.add('over');
});

document.addEventListener('dragend', () => {
  document.querySelectorAll('.layers > .over').forEach((layer) => layer.classList.remove('over'));
  dragged = null;
});

document.addEventListener('drop', (event) => {
  const layer = layerAt(event.target);
  if (!dragged || !(layer instanceof HTMLElement) || layer === dragged) return;
  event.preventDefault();
  const list = layer.closest('.layers');
  const seen = document.getElementById('rev');
  if (!(list instanceof HTMLElement) || !(seen instanceof HTMLInputElement)) return;
  const edit = JSON.stringify({ move: { section: 'layer', from: Number(dragged.dataset.index), to: Number(layer.dataset.index) } });
  const values = { edit, rev: seen.value, view: list.dataset.view };
  /** @type {any} */ (window).htmx.ajax('POST', list.dataset.move, { target: '#step', swap: 'innerHTML', values });
});

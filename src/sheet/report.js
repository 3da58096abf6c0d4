'use strict';
for (const figure of document.querySelectorAll('.zooms')) {
  const frame = figure.querySelector('.frame'), picture = frame.querySelector('svg'), bar = document.createElement('div');
  let size = 1;
  bar.className = 'zoom';
  for (const [sign, name, by] of [['+', 'larger', 1.5], ['−', 'smaller', 1 / 1.5], ['1:1', 'whole picture', 0]]) {
    const button = document.createElement('button');
    button.type = 'button';
    button.textContent = sign;
    button.setAttribute('aria-label', name);
    button.addEventListener('click', () => {
      size = by ? Math.min(30, Math.max(1, size * by)) : 1;
      picture.style.width = size * 100 + '%';
    });
    bar.append(button);
  }
  bar.lastChild.textContent = 'all';
  figure.insertBefore(bar, frame);
}
for (const table of document.querySelectorAll('table[data-sorts]')) {
  table.querySelectorAll('th').forEach((heading, column) => {
    const button = document.createElement('button');
    button.type = 'button';
    button.textContent = heading.textContent;
    heading.replaceChildren(button);
    button.addEventListener('click', () => {
      const up = heading.getAttribute('aria-sort') !== 'ascending', body = table.tBodies[0];
      const order = new Intl.Collator('en', { numeric: true });
      const value = row => row.cells[column].textContent;
      const rows = [...body.rows].sort((a, b) => {
        const [x, y] = [parseFloat(value(a)), parseFloat(value(b))];
        const by = Number.isNaN(x) || Number.isNaN(y) || x === y ? order.compare(value(a), value(b)) : x - y;
        return up ? by : -by;
      });
      body.append(...rows);
      table.querySelectorAll('th').forEach(h => h.removeAttribute('aria-sort'));
      heading.setAttribute('aria-sort', up ? 'ascending' : 'descending');
    });
  });
}

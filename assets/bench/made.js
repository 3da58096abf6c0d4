// @ts-check
// What the drawing tools are made of: shapes and buttons.

export const SVG = 'http://www.w3.org/2000/svg';

/** @template {keyof SVGElementTagNameMap} K @param {K} name @param {Record<string, any>} attributes @param {Element} into */
export function make(name, attributes, into) {
  const shape = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) if (value !== undefined) shape.setAttribute(key, String(value));
  into.append(shape);
  return shape;
}

/** @param {string} words @param {() => void} act @param {Element} [place] */
export function button(words, act, place) {
  const made = document.createElement('button');
  made.type = 'button';
  made.textContent = words;
  made.addEventListener('click', act);
  place?.append(made, ' ');
  return made;
}

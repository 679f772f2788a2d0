// Elements in short.
/** An element with properties, attributes that begin with `aria-`, `data-` or are `role` or `for`, and what stands in it. */
export const make = (name, given = {}, ...held) => {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(given)) {
    if (value === null || value === undefined) continue;
    if (key.startsWith('on')) element.addEventListener(key.slice(2), value);
    else if (key.startsWith('aria-') || key.startsWith('data-') || ['role', 'for', 'class', 'list', 'inputmode'].includes(key)) element.setAttribute(key, value);
    else element[key] = value;
  }
  element.append(...held.filter((one) => one !== null));
  return element;
};
/** Pieces of a text, `[words, whether they are a sign]`: signs are set as code. */
export const signs = (pieces) => pieces.map(([words, sign]) => (sign ? make('code', {}, words) : words));
export const button = (words, act, given = {}) => make('button', { type: 'button', onclick: act, ...given }, words);

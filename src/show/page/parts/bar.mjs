// The bar that stays: play, version, tempo, level, and what the version at hand comes to; and the question by which the level is found.
import { makeCheck } from './check.mjs';

/** The glyph of a state, as the page has it. */
export const glyph = (word) => {
  const svg = document.createElementNS('http://www.w3.org/2000/svg', 'svg');
  const use = document.createElementNS('http://www.w3.org/2000/svg', 'use');
  svg.setAttribute('class', 'glyph');
  svg.setAttribute('aria-hidden', 'true');
  use.setAttribute('href', `#glyph-${word.split(' ')[0]}`);
  svg.append(use);
  return svg;
};

export const makeBar = ({ root, $, data, state, cell, text, changed }) => {
  const check = makeCheck({ $, text }, 'play', ['level']);
  // What has the focus is not under the bar, however high it is: the question makes it higher, and so does a narrow view.
  const bar = root.querySelector('.bar');
  new ResizeObserver(() => {
    if (bar.offsetHeight) document.documentElement.style.scrollPaddingBottom = `${bar.offsetHeight + 8}px`;
  }).observe(bar);

  changed.push(() => {
    const now = cell();
    $('version').value = String(state.version);
    $('tempo').value = String(state.tempo);
    [...$('version').options].forEach((option, n) => { option.disabled = cell(state.tempo, n) === null; });
    $('now').dataset.state = now.state.split(' ')[0];
    $('now').replaceChildren(glyph(now.state), Object.assign(document.createElement('strong'), { textContent: now.state }), ` ${now.lines[0] ?? ''}`);
  });
  return check;
};

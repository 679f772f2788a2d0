// The bar that stays: play, version, tempo, level, and what the version at hand comes to; and the question by which the level is found.
import { level } from './level.mjs';

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
  let answer = null;
  const close = (found) => {
    if (!answer) return;
    $('check').hidden = true;
    const tell = answer;
    answer = null;
    tell(found);
  };
  /** Shows the question; what was asked before is not found. */
  const ask = () => new Promise((done) => {
    close(false);
    answer = done;
    $('check').hidden = false;
    $('check-level').value = String(level.db());
    $('check-level').focus();
  });
  $('check-ok').addEventListener('click', () => { close(true); $('play').focus(); });
  $('check-stop').addEventListener('click', () => { close(false); $('play').focus(); });
  root.addEventListener('keydown', (event) => {
    if (!answer) return;
    if (event.key === 'Escape') { close(false); $('play').focus(); event.stopPropagation(); }
    if (event.key === 'Enter' && event.target === $('check-level')) { close(true); $('play').focus(); }
  });

  const sliders = [$('level'), $('check-level')];
  for (const slider of sliders) slider.addEventListener('input', () => level.set(Number(slider.value)));
  const show = () => {
    for (const slider of sliders) {
      slider.value = String(level.db());
      slider.setAttribute('aria-valuetext', level.words());
    }
    text('check-words', level.words());
  };
  level.onChange(show);
  show();

  changed.push(() => {
    const now = cell();
    $('version').value = String(state.version);
    $('tempo').value = String(state.tempo);
    [...$('version').options].forEach((option, n) => { option.disabled = cell(state.tempo, n) === null; });
    $('now').dataset.state = now.state.split(' ')[0];
    $('now').replaceChildren(glyph(now.state), Object.assign(document.createElement('strong'), { textContent: now.state }), ` ${now.lines[0] ?? ''}`);
  });
  return { ask, close };
};

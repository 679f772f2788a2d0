// The question before the first sound: how loud is comfortable. What is heard meanwhile begins quiet, and the slider turns it up.
import { level } from './level.mjs';

/** The question within `root`; afterwards the focus goes back to `back`. Any other slider of the level, by its id, goes along. */
export const makeCheck = ({ root, $, text }, back, others = []) => {
  let answer = null;
  const close = (found) => {
    if (!answer) return;
    const tell = answer;
    answer = null;
    $('check').hidden = true;
    tell(found);
  };
  /** Shows the question, and answers whether the level is found; what was asked before is not. */
  const ask = () => new Promise((done) => {
    close(false);
    answer = done;
    $('check').hidden = false;
    $('check-level').focus();
  });
  const end = (found) => { close(found); $(back).focus(); };
  $('check-ok').addEventListener('click', () => end(true));
  $('check-stop').addEventListener('click', () => end(false));
  root.addEventListener('keydown', (event) => {
    if (!answer) return;
    const key = event.key === 'Escape' ? false : event.key === 'Enter' && event.target === $('check-level') ? true : null;
    if (key === null) return;
    event.preventDefault();
    event.stopPropagation();
    end(key);
  });
  const sliders = ['check-level', ...others].map($);
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
  return { ask, close };
};

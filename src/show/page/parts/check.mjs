// The question before the first sound: how loud is comfortable. What is heard meanwhile begins quiet, and the slider turns it up.
import { level } from './level.mjs';

/** The question; where the focus cannot go back to where it was it goes to `back`. Any other slider of the level, by its id, goes along. */
export const makeCheck = ({ $, text }, back, others = []) => {
  let answer = null;
  const close = (found) => {
    if (!answer) return;
    const tell = answer;
    answer = null;
    $('check').hidden = true;
    tell(found);
  };
  let from = null;
  /** Shows the question, and answers whether the level is found; what was asked before is not. */
  const ask = () => new Promise((done) => {
    close(false);
    answer = done;
    from = document.activeElement;
    $('check').hidden = false;
    $('check-level').focus();
  });
  /** Ends the question, and gives the focus back to where it was. */
  const end = (found) => {
    close(found);
    const again = from && from !== document.body && from.isConnected && !from.disabled && from.checkVisibility();
    (again ? from : $(back)).focus();
  };
  $('check-ok').addEventListener('click', () => end(true));
  $('check-stop').addEventListener('click', () => end(false));
  // While it is asked no other key acts: what plays is the question's.
  document.addEventListener('keydown', (event) => {
    if (!answer || event.ctrlKey || event.metaKey || event.altKey || event.key === 'Tab' || /^[+=-]$/.test(event.key)) return;
    event.stopPropagation();
    const button = event.target.closest && event.target.closest('button');
    if (event.key === 'Escape' || (event.key.toLowerCase() === 'p' || event.key === ' ') && !button) {
      event.preventDefault();
      end(false);
    } else if (event.key === 'Enter' && event.target === $('check-level')) {
      event.preventDefault();
      end(true);
    }
  }, true);
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

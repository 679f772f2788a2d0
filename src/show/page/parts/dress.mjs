// The words of a sentence as they stand in the page: where each leads, how it is marked, and what is told of that.
import { make } from './make.mjs';
import { calledOf, isUsual, keyOf, withoutTicks } from './words.mjs';

/** What a button does by keys, for a word. */
export const pressed = (event) => {
  if (!['Enter', ' '].includes(event.key) || event.repeat || !event.target.classList.contains('word')) return;
  event.preventDefault();
  event.target.click();
};

/** `word` gives a word by its number, `called` the name of a sentence by its id, `open` the spot of the word that is open. */
export const makeDressed = ({ word: wordBy, called, open }) => {
  /** What is told of a word to who does not see how it is marked. */
  const described = (word) => [
    withoutTicks(word.about), word.also, isUsual(word) ? `nothing is written: ${word.without}` : null, word.changed ? 'changed by the fix' : null, word.fault ? `wrong: ${word.fault}` : null,
    word.lights.length ? `linked with ${word.lights.map(called).join(', ')}` : null,
  ].filter(Boolean).map((one) => String(one).replace(/\.$/, '')).join('. ');
  return (fragment, sentence) => {
    // A word may stand in several sentences: ids are no use.
    for (const element of fragment.querySelectorAll('p')) { element.removeAttribute('id'); element.removeAttribute('class'); }
    // A button is a block, and would tear a line of text: a word runs on with its sentence.
    for (const element of fragment.querySelectorAll('button.word')) {
      element.replaceWith(make('span', { role: 'button', tabIndex: 0, class: element.className, 'data-word': element.dataset.word }, ...element.childNodes));
    }
    const seen = new Map();
    for (const element of fragment.querySelectorAll('.word')) {
      const word = wordBy(Number(element.dataset.word));
      if (!word) continue;
      element.dataset.key = keyOf(word);
      // Where a path begins and each of its stages are words of one key.
      const nth = (seen.get(keyOf(word)) ?? 0) + 1;
      seen.set(keyOf(word), nth);
      element.dataset.spot = `${sentence} ${keyOf(word)}${nth > 1 ? ` ${nth}` : ''}`;
      element.dataset.is = word.takes.is;
      if (word.changed) element.dataset.changed = '';
      if (isUsual(word)) element.dataset.usual = '';
      if (word.fault) element.dataset.fault = '';
      element.setAttribute('aria-description', described(word));
      element.setAttribute('aria-haspopup', 'dialog');
      element.setAttribute('aria-expanded', String(open() === element.dataset.spot));
      if (word.takes.is === 'more') element.setAttribute('aria-label', calledOf(word));
    }
    return fragment;
  };
};

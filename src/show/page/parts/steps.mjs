// A pattern as it is written: `X` an accent, `x` a hit, `.` a rest; blanks and bars stand between and stay.
const isStep = (c) => 'Xx.'.includes(c);

/** The steps alone. */
export const stepsOf = (text) => [...text].filter(isStep);
/** The place in the text of step `n`. */
const placeOf = (text, n) => {
  let seen = -1;
  for (let at = 0; at < text.length; at += 1) {
    if (isStep(text[at])) seen += 1;
    if (seen === n) return at;
  }
  return text.length;
};
/** The pattern with another step at `n`. */
export const withStep = (text, n, step) => {
  const at = placeOf(text, n);
  return text.slice(0, at) + step + text.slice(at + 1);
};
/** What a click makes of a step. */
export const nextStep = (step) => ({ '.': 'x', x: 'X', X: '.' })[step];
/** The pattern with a rest more, or without its last step and what stood before that to part it. One step stays. */
export const longer = (text) => `${text}.`;
export const shorter = (text) => {
  const count = stepsOf(text).length;
  if (count < 2) return text;
  return text.slice(0, placeOf(text, count - 1)).replace(/[^Xx.]+$/, '');
};
/** So many steps are drawn as buttons at most; a longer pattern is written in the text. */
export const MOST_STEPS = 256;
/** The pattern with so many steps: rests more, or without the last. */
export const ofLength = (text, count) => {
  let next = text;
  while (stepsOf(next).length < count) next = longer(next);
  while (stepsOf(next).length > Math.max(1, count)) next = shorter(next);
  return next;
};
/** Step numbers after which the pattern is parted: as it is written, and by fours where it is not. */
export const partsOf = (text) => {
  const own = [];
  let count = 0;
  for (const c of text) {
    if (isStep(c)) count += 1;
    else if (count > 0 && own[own.length - 1] !== count) own.push(count);
  }
  const all = stepsOf(text).length;
  return own.length && own.some((n) => n < all) ? own.filter((n) => n < all) : Array.from({ length: Math.max(0, Math.ceil(all / 4) - 1) }, (_, n) => 4 * (n + 1));
};
/** How a step is said. */
export const saidStep = (step) => ({ '.': 'rest', x: 'hit', X: 'accent' })[step];
/** What a key makes of a step, or null. */
export const stepOf = (key) => ({ '.': '.', Delete: '.', Backspace: '.', x: 'x', X: 'X' })[key] ?? null;

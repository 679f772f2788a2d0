// What a training page says. What a threshold means is said by the program in the same words.
export const words = (() => {
  const ORDINALS = ['first', 'second', 'third'];
  const places = (ms, n) => String(Math.round(ms * 10 ** n) / 10 ** n);

  /** A gap as people say it: two figures, and none of them idle. */
  const about = (ms) => places(ms, ms >= 9.95 ? 0 : ms >= 0.995 ? 1 : 2);
  /** An end of an interval: whole milliseconds, but for small ones. */
  const end = (ms) => places(ms, ms >= 2.95 ? 0 : ms >= 0.295 ? 1 : 2);

  const questions = (names) => ({
    'two-or-one': ['Which of the three was two hits?', ['First', 'Second', 'Third']],
    'which-first': ['Which came first?', names],
    'tight-or-loose': ['Which bar was loose?', ['First bar', 'Second bar']],
  });

  /** What the button that was pressed says. */
  const feedback = (task, names, { asked, answered, ms }) => {
    const right = asked === answered, gap = `${about(ms)} ms`;
    if (task === 'which-first') return right ? `right: ${gap} ahead` : `no: ${names[asked - 1]} came first`;
    if (right) return `right: ${gap} apart`;
    return task === 'two-or-one' ? `no: it was the ${ORDINALS[asked - 1]}` : `no: the ${ORDINALS[asked - 1]} bar was loose`;
  };

  /** What becomes of the gap after an answer. */
  const next = (before, after) => (after < before ? 'smaller now' : after > before ? 'wider again' : 'the same gap once more');

  /** What is likely so far, and how wide that is. */
  const likely = ({ between, wide }) => (between ? `So far it is ${between.map(end).join(' to ')} ms, × ${wide.toFixed(1)} wide.` : '');

  /** How long so many seconds are. */
  const more = (seconds) => {
    if (seconds < 45) return 'less than a minute more';
    const minutes = Math.max(1, Math.round(seconds / 60));
    return minutes === 1 ? 'about a minute more' : `about ${minutes} minutes more`;
  };

  /** What was heard, and what that means for a patch. */
  const heard = (task, what, { none, ms, between }) => {
    if (none) return [`No threshold yet, ${what}: ${NONE[none]}.`, AFTER[none]];
    const said = `about ${about(ms)} ms`, ends = `(${between.map(end).join(' to ')})`;
    return {
      'two-or-one': [
        `You hear a gap of ${said} ${ends}, ${what}.`,
        `For a patch that is max-gap = "${about(ms)} ms". Larger gaps you mostly hear; two like drums change their colour at smaller ones too.`,
      ],
      'which-first': [`You hear who comes first from ${said} on ${ends}, ${what}.`, 'This sets no max gap: a split is heard before its order is. Train two or one for that.'],
      'tight-or-loose': [`You hear a bar as loose from ${said} on ${ends}, ${what}.`, 'This sets no max gap, but says from where on a groove suffers. Train two or one for the max gap.'],
    }[task];
  };
  const NONE = {
    ceiling: 'the widest gaps were not told apart reliably',
    floor: 'you hear smaller gaps than any that were asked',
    short: 'there are too few answers for a figure',
    guessing: 'the answers are as guessing would have them',
  };
  const again = 'Rest, take headphones, and train once more. Until then the usual max gap of 2 ms is a fair one.';
  const AFTER = {
    ceiling: again,
    guessing: again,
    floor: 'Leave the max gap of your patch at its usual 2 ms or below: your ears are better than that.',
    short: 'Go on: it is kept where you stopped.',
  };

  return { about, end, questions, feedback, next, likely, more, heard };
})();

// The blind test: X is A or B, drawn anew for each trial.
import { blindFile } from './blind-file.mjs';
import { called } from './called.mjs';
import { chance } from './chance.mjs';
import { level } from './level.mjs';
import { sound } from './sound.mjs';

/** The name that was given last, for the other tests of a lesson. */
const given = { name: '' };

export const makeBlind = ({ $, data, state, cell, loop, text, say, changed }, player) => {
  let test = null;
  // How many tests of each two at each tempo are over since the page was opened.
  const taken = new Map();
  const pick = (id) => Number($(id).value);

  const hear = async (which) => {
    player.stop();
    const version = which === 'x' ? (test.x === 'a' ? test.a : test.b) : test[which];
    test.heard[which] += 1;
    // Both as one set: equally loud, whichever was heard first.
    const plays = await sound.play([...test.loops.values()], data.rate, version === test.a ? 0 : 1, 0);
    if (plays) say(`playing ${which.toUpperCase()}`);
  };

  const next = () => {
    test.x = chance.draw(2) === 0 ? 'a' : 'b';
    test.heard = { a: 0, b: 0, x: 0 };
    text('blind-progress', `Trial ${test.trials.length + 1} of ${test.of}`);
  };

  const result = () => {
    const right = test.trials.filter((t) => t.x === t.answer).length;
    const p = chance.atLeast(right, test.trials.length);
    return { right, of: test.trials.length, p, tests: test.tests };
  };

  /** What it comes to. Of several tests of the same two, what looks like proof may be the best of many guessed ones. */
  const sentence = ({ right, of, p, tests }) => {
    const best = chance.bestOf(p, tests);
    return [
      p < 0.05 && best < 0.05 ? 'You hear the difference.' : 'That is no proof that you hear it, nor that you do not.',
      `You were right ${right} times of ${of}; guessing does that, or better, in ${chance.percent(p)} of tests.`,
      ...(p < 0.05 && tests > 1 ? [`It is one of ${tests} tests of these two: who guesses through ${tests} does so well in at least one of them in ${chance.percent(best)} of cases.`] : []),
    ].join(' ');
  };

  const answer = (said) => {
    if (!test || test.trials.length >= test.of) return;
    sound.stop();
    test.trials.push({ x: test.x, answer: said, heard: test.heard });
    if (test.trials.length < test.of) {
      next();
      say(`answered: trial ${test.trials.length + 1} of ${test.of}`);
      $('blind-x').focus();
      return;
    }
    const thing = [test.tempo, ...[test.a, test.b].sort((a, b) => a - b)].join();
    test.tests = (taken.get(thing) ?? 0) + 1;
    taken.set(thing, test.tests);
    text('blind-result', sentence(result()));
    $('blind-trial').hidden = true;
    $('blind-done').hidden = false;
    $('blind-name').value ||= given.name;
    $('blind-result').focus();
  };

  const begin = () => {
    const [a, b] = [pick('blind-a'), pick('blind-b')];
    if (a === b) { text('blind-problem', 'Choose two different versions.'); return; }
    const missing = [a, b].find((version) => cell(state.tempo, version) === null);
    if (missing !== undefined) {
      text('blind-problem', `${data.variants[missing].name} is not made at ${data.tempos[state.tempo].bpm}: choose another version, or another tempo above.`);
      return;
    }
    text('blind-problem', '');
    // What is no number is sixteen; what was made of it is shown.
    const of = Math.max(1, Math.min(100, Math.round(Number($('blind-count').value)) || 16));
    $('blind-count').value = String(of);
    // Both are mixed and measured now and kept: a wait before X would tell which it is.
    const loops = new Map([a, b].map((version) => [version, loop(state.tempo, version, state.bars)]));
    level.stand([...loops.values()], data.rate);
    test = { a, b, tempo: state.tempo, bars: state.bars, loops, of, trials: [] };
    $('blind-setup').hidden = true;
    $('blind-done').hidden = true;
    $('blind-trial').hidden = false;
    text('blind-names', `A is ${called.of(data.variants[a].name)}, B is ${called.of(data.variants[b].name)}, at ${data.tempos[test.tempo].bpm}.`);
    next();
    $('blind-x').focus();
  };

  const again = () => {
    sound.stop();
    test = null;
    $('blind-setup').hidden = false;
    $('blind-trial').hidden = true;
    $('blind-done').hidden = true;
    $('blind-begin').focus();
  };

  const name = () => blindFile.listener($('blind-name').value);
  /** What is saved; docs/ear.md says what each field holds. */
  const record = () => {
    const side = (version) => ({ variant: data.variants[version].name, gap_ms: cell(test.tempo, version).gapMs });
    return {
      hitgap: 'blind-test', format: 1, patch: data.patch, title: data.title, tempo_bpm: Number(data.tempos[test.tempo].bpm),
      a: side(test.a), b: side(test.b), ...(name() ? { listener: name() } : {}), saved: new Date().toISOString(), trials: test.trials, ...result(),
    };
  };

  const save = () => {
    const link = document.createElement('a');
    link.href = URL.createObjectURL(new Blob([`${JSON.stringify(record(), null, 2)}\n`], { type: 'application/json' }));
    link.download = blindFile.fileName(name(), data.patch);
    given.name = name();
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
    say('saved');
  };

  // The closest two that still differ, at each tempo, until somebody chooses others.
  let chosen = false;
  const offer = () => {
    if (chosen || test) return;
    const [a, b] = blindFile.closest(data.variants.map((_, version) => cell(state.tempo, version)?.gapMs ?? null));
    $('blind-a').value = String(a);
    $('blind-b').value = String(b);
  };
  for (const id of ['blind-a', 'blind-b']) $(id).addEventListener('change', () => { chosen = true; });
  changed.push(offer);
  offer();
  for (const which of ['a', 'b', 'x']) $(`blind-${which === 'x' ? 'x' : `hear-${which}`}`).addEventListener('click', () => hear(which));
  $('blind-begin').addEventListener('click', begin);
  $('blind-is-a').addEventListener('click', () => answer('a'));
  $('blind-is-b').addEventListener('click', () => answer('b'));
  $('blind-again').addEventListener('click', again);
  $('blind-cancel').addEventListener('click', again);
  $('blind-save').addEventListener('click', save);
  /** Versions have become others: what was counted and chosen was of those. */
  const renew = () => {
    taken.clear();
    chosen = false;
  };
  return { begin, hear, answer, again, record, renew, busy: () => test !== null, running: () => test !== null && !$('blind-trial').hidden, drawn: () => test && test.x };
};

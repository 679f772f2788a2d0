// Gaps that are asked for where an answer tells most: against the table that the program's are held against, and by closed forms.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { test } from 'node:test';
import { posterior } from '../../src/show/page/parts/posterior.mjs';
import { psi } from '../../src/show/page/parts/psi.mjs';

const bits = (x) => new BigUint64Array(new Float64Array([x]).buffer)[0].toString();
const usual = { floor: -2000000, ceiling: 7000000, target: 8035, narrow: 678072, least_trials: 40, most_trials: 120, prior: 1 };
/** A session of a listener who is right from a gap on and wrong below, or by chance. */
const walked = (right, trials) => {
  const s = psi.begin(usual, 1 / 3);
  for (let n = 0; n < trials && !psi.done(usual, s); n += 1) psi.answer(usual, s, s.level, right(s.level, n));
  return s;
};

test('the shared table is asked to the last bit', () => {
  const table = JSON.parse(readFileSync(new URL('../sound/psi.json', import.meta.url)));
  assert.equal(table.length, 20);
  for (const { settings, guess, answers, levels, low, high, middle, against_guessing: against } of table) {
    const s = psi.begin(settings, 1 / guess), seen = [s.level];
    [...answers].forEach((a, n) => {
      psi.answer(settings, s, (n + 1) % 11 === 0 ? settings.ceiling : s.level, a === '1');
      seen.push(s.level);
    });
    assert.deepEqual(seen, levels);
    assert.deepEqual([...posterior.between(s.likely), posterior.quantile(s.likely, 0.5), s.likely.against].map(bits), [low, high, middle, against]);
  }
});

test('before there is an answer all gaps are alike', () => {
  const p = posterior.begin(0.5, 0.8035);
  // Even over 111 steps of a tenth of an octave: by hand.
  [0.025, 0.25, 0.5, 0.9].forEach((share) => assert.ok(Math.abs(posterior.quantile(p, share) - (-3050000 + share * 11100000)) < 1));
});

test('what it comes to: a figure, or why there is none', () => {
  const sharp = walked((level) => level >= 2300000, 120);
  const { ms, between, wide } = psi.estimate(usual, sharp);
  // Right from 4.92 ms on: the steepest curve that is looked for crosses its target near there.
  assert.ok(ms > 4 && ms < 6 && between[0] < ms && ms < between[1], `${ms} ${between}`);
  assert.ok(Math.abs(wide - between[1] / between[0]) < 1e-9 && wide <= 1.6 + 1e-6 && psi.done(usual, sharp));
  assert.equal(psi.estimate(usual, walked((level) => level >= 2300000, 12)).none, 'short');
  assert.equal(psi.estimate(usual, walked((_, n) => n % 3 === 0, 120)).none, 'ceiling');
  assert.equal(psi.estimate(usual, walked(() => true, 120)).none, 'floor');
});

test('it says how much longer it takes', () => {
  const s = psi.begin(usual, 1 / 3);
  assert.equal(psi.left(usual, s), 120);
  const whole = walked((level) => level >= 2300000, 30);
  assert.ok(psi.left(usual, whole) >= 10 && psi.left(usual, whole) <= 90);
});

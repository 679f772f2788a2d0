// The page's fit against the program's: a session of a simulated listener, and what docs/ear.md says of it.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { test } from 'node:test';
import { curve } from '../../src/show/page/parts/curve.mjs';
import { staircase } from '../../src/show/page/parts/staircase.mjs';

const session = JSON.parse(readFileSync(new URL('../../patches/wren-listens.json', import.meta.url)));
const walked = ({ trials, staircase: settings }) => {
  const track = staircase.begin(settings);
  trials.filter((t) => !t.catch).forEach((t) => staircase.answer(settings, track, t.asked === t.answered));
  return [track];
};
const estimate = (of) => curve.estimate(of, walked(of), 1 / 3, staircase.target(of.staircase));

test('a session has the threshold and the interval that the program finds', () => {
  // tests/commands/transcripts/training-plot.txt: at_target_ms of the logistic curve, and its interval.
  const { ms, between } = estimate(session);
  // Both climb to the same top, the page by ever finer nets, the program by a simplex: a thousandth is finer than what is said.
  assert.ok(Math.abs(ms / 6.8047297848263515 - 1) < 2e-3, `${ms}`);
  // The ends are halved eight times from a tenth of a logarithm: 0.0004.
  assert.ok(Math.abs(between[0] / 3.734514886388301 - 1) < 2e-3 && Math.abs(between[1] / 9.758754718692796 - 1) < 2e-3, `${between}`);
});

test('what has no threshold says why', () => {
  const { trials } = session;
  assert.deepEqual(estimate({ ...session, trials: trials.slice(0, 20) }), { none: 'short' });
  // All at the top or the bottom of the ladder.
  const at = (level) => trials.map((t) => ({ ...t, level, catch: false }));
  assert.deepEqual(estimate({ ...session, trials: at(session.staircase.ceiling) }), { none: 'ceiling' });
  assert.deepEqual(estimate({ ...session, trials: at(session.staircase.floor) }), { none: 'floor' });
  // Right as often at every gap: the turns are there, and nothing in the answers goes with the gap.
  const flat = trials.map((t, n) => ({ ...t, catch: false, answered: n % 3 === 0 ? t.asked : (t.asked % 3) + 1 }));
  assert.deepEqual(curve.estimate({ ...session, trials: flat }, walked(session), 1 / 3, 0.8035), { none: 'guessing' });
});

// The staircase against the table that the program's is held against, and one walked by hand.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { test } from 'node:test';
import { staircase } from '../../src/show/page/parts/staircase.mjs';

test('two right go down by 0.5488 of a step, a wrong one goes up by a whole one', () => {
  const settings = { start: 5000000, floor: -2000000, ceiling: 7000000, down: 2, ratio: 5488, large_step: 1000000, small_step: 400000, large_turns: 1, turns: 10, most_trials: 120 };
  const walk = staircase.begin(settings);
  const levels = [true, true, true, true, false, true, true].map((right) => { staircase.answer(settings, walk, right); return walk.level; });
  // By hand: 5 − 0.5488 − 0.5488, up where it turns for the first time, so that steps are small from there on.
  assert.deepEqual(levels, [5000000, 4451200, 4451200, 3902400, 4302400, 4302400, 4082880]);
  assert.deepEqual(walk.turns, [3902400, 4302400]);
});

test('the shared table is walked', () => {
  const table = JSON.parse(readFileSync(new URL('../sound/staircases.json', import.meta.url)));
  assert.equal(table.length, 60);
  for (const { settings, answers, levels, turns, trials, done, target } of table) {
    const walk = staircase.begin(settings), seen = [walk.level];
    for (const answer of answers) { staircase.answer(settings, walk, answer === '1'); seen.push(walk.level); }
    assert.deepEqual([seen, walk.turns, walk.trials, staircase.done(settings, walk)], [levels, turns, trials, done]);
    assert.ok(Math.abs(staircase.target(settings) - target) < 1e-12);
  }
});

// What guessing does, against sums by hand.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { chance } from '../../src/show/page/parts/chance.mjs';

test('the tail of a fair coin is a sum of the row of Pascal\'s triangle', () => {
  // 16 choose 12 to 16: 1820, 560, 120, 16, 1; over 2 to the 16th.
  assert.equal(chance.atLeast(12, 16), (1820 + 560 + 120 + 16 + 1) / 65536);
  assert.equal(chance.atLeast(0, 16), 1);
});

test('of several guessed tests the best is likelier', () => {
  assert.equal(chance.bestOf(0.04, 1), 0.04);
  assert.ok(Math.abs(chance.bestOf(0.04, 3) - (1 - 0.96 ** 3)) < 1e-15);
});

test('a draw is below its bound, and every number comes', () => {
  const seen = new Set(Array.from({ length: 400 }, () => chance.draw(3)));
  // None of three missing in 400 draws: it fails once in 10 to the 70th.
  assert.deepEqual([...seen].sort(), [0, 1, 2]);
});

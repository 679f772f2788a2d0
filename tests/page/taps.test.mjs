import assert from 'node:assert/strict';
import { test } from 'node:test';
import { roundTempo, tapped, tempoOf } from '../../src/show/page/parts/taps.mjs';

const tap = (times) => times.reduce(tapped, []);

test('even taps are their tempo', () => {
  assert.equal(tempoOf(tap([0])), null);
  assert.equal(tempoOf(tap([100, 600])), 120);
  assert.ok(Math.abs(tempoOf(tap([0, 1, 2, 3, 4].map((n) => 7 + n * 625))) - 96) < 1e-9);
});

test('one late tap moves the tempo less than it would by its own two beats', () => {
  // By hand: places -2 … 2 and the fourth tap of 500 ms late by 40: the slope is 500 + 1 * 40 / 10 = 504 ms.
  const late = tempoOf(tap([0, 500, 1000, 1540, 2000]));
  assert.ok(Math.abs(late - 60000 / 504) < 1e-9, late);
});

test('a pause begins anew, and so does another tempo', () => {
  assert.deepEqual(tap([0, 500, 1000, 4000]), [4000]);
  assert.deepEqual(tap([0, 500, 1000, 2100]), [2100]);
  assert.deepEqual(tap([0, 2000]), [0, 2000]);
  // The last twelve count.
  assert.equal(tap(Array.from({ length: 30 }, (_, n) => n * 500)).length, 12);
});

test('a tempo is whole until there are taps enough for a half', () => {
  assert.equal(roundTempo(96.4, 4), 96);
  assert.equal(roundTempo(96.4, 8), 96.5);
  assert.equal(roundTempo(0.2, 4), 1);
});

import assert from 'node:assert/strict';
import { test } from 'node:test';
import { carried, goesOn } from '../../src/show/page/parts/carry.mjs';

const made = {}, none = null;
const data = (variants, tempos) => ({
  variants: variants.map((name) => ({ name })),
  tempos: tempos.map(([bpm, bars, cells = variants.map(() => made)]) => ({ bpm, bars, cells })),
});
const before = data(['original', 'phase', 'gate'], [['50', 2], ['120', 2]]);

test('what is chosen is found by its name', () => {
  const after = data(['original', 'gate'], [['120', 2], ['50', 2], ['160', 2]]);
  assert.deepEqual(carried(before, { tempo: 1, version: 2, bars: 2 }, after, [1, 2]), { tempo: 0, version: 1, bars: 2 });
});

test('a version that is gone is the original, and so is one that is not made there', () => {
  const after = data(['original', 'gate'], [['50', 2, [made, none]], ['120', 2]]);
  assert.equal(carried(before, { tempo: 0, version: 1, bars: 2 }, after, [1, 2]).version, 0);
  assert.equal(carried(before, { tempo: 0, version: 2, bars: 2 }, after, [1, 2]).version, 0);
  assert.equal(carried(before, { tempo: 1, version: 2, bars: 2 }, after, [1, 2]).version, 1);
});

test('a tempo that is gone is the nearest by ratio', () => {
  // By hand: 120 to 80 is 1.5, to 170 is 1.417; by difference 80 would be nearer.
  assert.equal(carried(before, { tempo: 1, version: 0, bars: 2 }, data(['original'], [['80', 2], ['170', 2]]), [2]).tempo, 1);
});

test('a loop that was chosen stays while there is one; another follows the patch', () => {
  const after = data(['original'], [['50', 3], ['120', 3]]);
  const bars = (was, offered) => carried(before, { tempo: 0, version: 0, bars: was }, after, offered).bars;
  assert.equal(bars(2, [1, 2, 3]), 3);
  assert.equal(bars(1, [1, 2, 3]), 1);
  assert.equal(bars(4, [1, 2, 3]), 3);
});

test('sound goes on at the same place of the bar', () => {
  // Two and a half bars of 2 s into a loop; the new one has bars of 1.5 s, and two or four of them.
  assert.equal(goesOn(5, 2, 1.5, 4), 3.75);
  assert.equal(goesOn(5, 2, 1.5, 2), 0.75);
  assert.equal(goesOn(5, 2, 2, 4), 5);
});

import assert from 'node:assert/strict';
import { test } from 'node:test';
import { longer, nextStep, partsOf, shorter, stepOf, stepsOf, withStep } from '../../src/show/page/parts/steps.mjs';

test('a step is changed where it stands, and what parts the pattern stays', () => {
  assert.equal(withStep('X...|x... X.', 4, '.'), 'X...|.... X.');
  assert.equal(withStep('X...|x... X.', 9, 'X'), 'X...|x... XX');
  assert.deepEqual(stepsOf('X. |x'), ['X', '.', 'x']);
  // Three clicks lead back.
  assert.equal(nextStep(nextStep(nextStep('.'))), '.');
});

test('a pattern grows by rests, and shrinks to one step', () => {
  assert.equal(longer('X..'), 'X...');
  assert.equal(shorter('X..|x'), 'X..');
  assert.equal(shorter('X..x'), 'X..');
  assert.equal(shorter('X'), 'X');
});

test('it is parted as it is written, and by fours where it is not', () => {
  assert.deepEqual(partsOf('X..|x..|x.'), [3, 6]);
  assert.deepEqual(partsOf('X...x...x.'), [4, 8]);
  assert.deepEqual(partsOf('Xxxx'), []);
  // A bar at the end parts nothing.
  assert.deepEqual(partsOf('X...x...|'), [4]);
});

test('keys write steps', () => {
  assert.deepEqual(['x', 'X', '.', 'Backspace', 'p'].map(stepOf), ['x', 'X', '.', '.', null]);
});

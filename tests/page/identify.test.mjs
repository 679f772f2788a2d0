import assert from 'node:assert/strict';
import { test } from 'node:test';
import { doubtful, left, told } from '../../src/show/page/parts/identify.mjs';

// Four ways and two tests, by hand: the first test parts one from the rest, the second parts two of those.
const ways = [
  { name: 'one', answers: [0, 0] },
  { name: 'two', answers: [1, 0] },
  { name: 'three', answers: [1, 1] },
  { name: 'four', answers: [1, 1] },
];
const names = (said) => left(ways, said).map((way) => way.name);

test('what was heard narrows the ways, and what is not sure does not', () => {
  assert.deepEqual(names([null, null]), ['one', 'two', 'three', 'four']);
  assert.deepEqual(names([1, null]), ['two', 'three', 'four']);
  assert.deepEqual(names([null, 0]), ['one', 'two']);
  assert.deepEqual(names([1, 0]), ['two']);
  assert.deepEqual(names([0, 1]), []);
});

test('the test to be heard again is one whose other answer would fit', () => {
  assert.deepEqual(doubtful(ways, [0, 1]), [0, 1]);
  assert.deepEqual(doubtful(ways, [2, null]), [0]);
  assert.match(told(ways, [2, null], true), /Listen once more to test 1:/);
});

test('it says what is next, what is left, and what cannot be told', () => {
  assert.match(told(ways, [1, null], true), /^3 of 4 ways are left\. Next: test 2\.$/);
  assert.match(told(ways, [1, 0], true), /^One way is left\./);
  assert.equal(told(ways, [1, 1], true), '2 ways are left, and no test here tells them apart.');
  assert.equal(told(ways, [1, 1], false), '2 ways are left, and a clock without dials does not tell them apart.');
});

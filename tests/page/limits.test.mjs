import assert from 'node:assert/strict';
import { test } from 'node:test';
import { formOf, inForm, orderOf } from '../../src/show/page/parts/limits.mjs';

test('a value is told by the keys that it has', () => {
  assert.deepEqual(['40 us', null, { typ: '1 ms', max: '2 ms' }, { min: '1 ms', max: '2 ms' }, { value: '1 ms', tolerance: '5 %' }].map(formOf), ['one', 'one', 'between', 'between', 'around']);
});

// By hand: docs/patch.md, values with limits. Without a usual value the middle is usual, without a least nothing is the least.
test('a value in another form is usually what it was', () => {
  const sheet = { min: '100 ns', typ: '120 ns', max: '0.25 us' };
  assert.equal(inForm(sheet, 'one'), '120 ns');
  assert.equal(inForm({ min: '1 ms', max: '3 ms' }, 'one'), '2 ms');
  assert.equal(inForm({ max: '3 ms' }, 'one'), '1.5 ms');
  assert.equal(inForm({ value: '1 ms', tolerance: '5 %' }, 'one'), '1 ms');
  assert.deepEqual(inForm('40 us', 'between'), { min: '40 us', typ: '40 us', max: '40 us' });
  assert.deepEqual(inForm({ value: '2 ms', tolerance: '5 %' }, 'between'), { min: '1.9 ms', typ: '2 ms', max: '2.1 ms' });
  assert.deepEqual(inForm({ value: '2 ms', tolerance: '100 us' }, 'between'), { min: '1.9 ms', typ: '2 ms', max: '2.1 ms' });
  // As far off as the further of the two, and not below nothing.
  assert.deepEqual(inForm({ min: '100 ns', typ: '120 ns', max: '0.15 us' }, 'around'), { value: '120 ns', tolerance: '30 ns' });
  assert.deepEqual(inForm(sheet, 'around'), { value: '120 ns', tolerance: '120 ns' });
  assert.deepEqual(inForm('40 us', 'around'), { value: '40 us', tolerance: '0 us' });
  assert.equal(inForm(sheet, 'between'), sheet);
});

test('what is not in rising order is not sent', () => {
  assert.equal(orderOf({ min: '100 ns', typ: '120 ns', max: '0.25 us' }), null);
  assert.equal(orderOf({ typ: '120 ns', max: '250 ns' }), null);
  assert.equal(orderOf({ min: '1 us', typ: '120 ns', max: '2 us' }), 'The least is more than the usual.');
  assert.equal(orderOf({ min: '3 us', max: '2 us' }), 'The least is more than the largest.');
  assert.equal(orderOf({ min: '1 us' }), 'The largest is needed.');
  assert.equal(orderOf({ min: 'x', max: '2 us' }), 'Each needs a number and its unit.');
  assert.equal(orderOf({ value: '1 ms', tolerance: '-1 %' }), 'Give or take is not less than nothing.');
  assert.equal(orderOf({ value: '1 ms', tolerance: '5 %' }), null);
});

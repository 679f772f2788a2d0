import assert from 'node:assert/strict';
import { test } from 'node:test';
import { amountOf, inUnit, reachOf, roundUp, turned, turnOf, wholeOf, written } from '../../src/show/page/parts/amount.mjs';

test('an amount is read and written as a patch has it', () => {
  for (const [text, number, unit] of [['5 ms', 5, 'ms'], ['-1.5 %', -1.5, '%'], ['−3 dB', -3, 'dB'], ['40us', 40, 'us'], ['600 s', 600, 's'], ['0,5 ms', 0.5, 'ms'], ['12', 12, '']]) {
    assert.deepEqual(amountOf(text), { number, unit }, text);
  }
  for (const text of ['', 'ms', 'five ms', '1 2 ms', '--1 ms']) assert.equal(amountOf(text), null, text);
  assert.deepEqual([0.1 + 0.2, -0, 1e-7, 1200000].map((number) => written({ number, unit: 'ms' })), ['0.3 ms', '0 ms', '0.0000001 ms', '1200000 ms']);
});

test('units of a kind turn into each other, and a share into its time', () => {
  const period = amountOf('2.4 s');
  assert.deepEqual(inUnit(amountOf('40 us'), 'ms'), { number: 0.04, unit: 'ms' });
  // One per cent of 2.4 s is 24 ms, and the other way round.
  assert.deepEqual(inUnit(amountOf('1 %'), 'ms', period), { number: 24, unit: 'ms' });
  assert.ok(Math.abs(inUnit(amountOf('24 ms'), '%', period).number - 1) < 1e-12);
  assert.equal(inUnit(amountOf('1 %'), 'ms'), null);
  assert.equal(inUnit(amountOf('1 kHz'), 'ms'), null);
  assert.deepEqual(wholeOf('period of slow: 2.4 s'), period);
  assert.equal(wholeOf(null), null);
});

test('a slider reaches past where it stands, and no further than it may', () => {
  assert.deepEqual([0.3, 1, 1.1, 3, 7, 20, 21].map(roundUp), [0.5, 1, 2, 5, 10, 20, 50]);
  const delay = reachOf(amountOf('5 ms'), amountOf('0 s'), amountOf('600 s'));
  assert.deepEqual([delay.from, delay.to, delay.step, delay.fine, delay.coarse], [0, 20, 0.1, 0.01, 1]);
  const nudge = reachOf(amountOf('-3 ms'), amountOf('-600 s'), amountOf('600 s'));
  assert.deepEqual([nudge.from, nudge.to], [-20, 20]);
  // At the edge it reaches further, and stays so wide when it is turned back.
  const far = reachOf(amountOf('20 ms'), amountOf('0 s'), amountOf('600 s'), null, delay);
  assert.equal(far.to, 50);
  assert.equal(reachOf(amountOf('1 ms'), amountOf('0 s'), amountOf('600 s'), null, far).to, 50);
  // Another unit has a reach of its own.
  assert.equal(reachOf(amountOf('40 us'), amountOf('0 s'), amountOf('600 s'), null, far).to, 100);
  const swing = reachOf(amountOf('50 %'), amountOf('1 %'), amountOf('99 %'));
  assert.deepEqual([swing.from, swing.to], [1, 99]);
  for (const { from, to, fine } of [delay, nudge, far, swing]) assert.ok(to > from && fine > 0);
});

test('turning stays on the grid of the step, and within the bounds', () => {
  assert.equal(turned(1.23, 1, 0.1), 1.3);
  assert.equal(turned(1.23, -1, 0.1), 1.2);
  assert.equal(turned(0.3, 1, 0.1), 0.4);
  assert.equal(turned(-0.1, 1, 0.1), 0);
  let number = 0;
  for (let n = 0; n < 1000; n += 1) number = turned(number, 1, 0.1);
  assert.equal(number, 100);
  assert.equal(turned(99.5, 1, 1, 1, 99.9), 99.9);
  assert.equal(turned(0, -1, 1, 0), 0);
  assert.deepEqual([turnOf('ArrowUp', false), turnOf('ArrowLeft', true), turnOf('PageUp', false), turnOf('a', false)], [[1, 'step'], [-1, 'fine'], [1, 'coarse'], null]);
});

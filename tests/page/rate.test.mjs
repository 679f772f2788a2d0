import assert from 'node:assert/strict';
import { test } from 'node:test';
import { RATES, rateOf, writtenRate } from '../../src/show/page/parts/rate.mjs';

test('a rate is read and written as a patch has it', () => {
  assert.deepEqual(rateOf('4 per beat'), { pulses: 4, beats: 1 });
  assert.deepEqual(rateOf('3 per 2 beats'), { pulses: 3, beats: 2 });
  for (const rate of RATES) assert.equal(writtenRate(rateOf(rate)), rate);
  for (const text of ['per beat', '4 beats', '1.5 per beat', 'start']) assert.equal(rateOf(text), null, text);
});

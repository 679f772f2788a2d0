// The level: what was found is never passed, and it rises slowly.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { level } from '../../src/show/page/parts/level.mjs';
import { loudnessOf, truePeakOf } from '../../src/show/page/parts/loudness.mjs';

const RATE = 48000;
const strokes = (amplitude, every) => Float32Array.from({ length: 2 * RATE }, (_, n) => {
  const t = (n % every) / RATE;
  return amplitude * Math.exp(-t * 40) * Math.sin(2 * Math.PI * 200 * t);
});
const scaled = (loop, gain) => loop.map((x) => x * gain);
const db = (x) => 20 * Math.log10(x);

test('before a level is found, loops stand at -23 LUFS or peak at -1 dBTP', () => {
  const dense = strokes(0.2, RATE / 8), sparse = strokes(0.9, 2 * RATE);
  const gain = level.stand([dense], RATE);
  assert.ok(Math.abs(loudnessOf(scaled(dense, gain), RATE) + 23) < 0.01);
  for (const loops of [[dense, sparse], [sparse]]) {
    const own = level.stand(loops, RATE);
    for (const loop of loops) {
      assert.ok(loudnessOf(scaled(loop, own), RATE) < -22.99);
      assert.ok(db(truePeakOf(scaled(loop, own))) < -0.99);
    }
  }
});

test('after it is found, nothing is louder nor peaks higher than what was heard', () => {
  const heard = strokes(0.2, RATE / 4);
  const gain = level.stand([heard], RATE);
  level.confirm(heard, RATE, gain);
  assert.equal(level.checked(), true);
  const most = [loudnessOf(scaled(heard, gain), RATE), db(truePeakOf(scaled(heard, gain)))];
  for (const other of [strokes(0.9, 2 * RATE), strokes(0.01, RATE / 16), strokes(0.5, RATE / 3)]) {
    const own = level.stand([other], RATE);
    assert.ok(loudnessOf(scaled(other, own), RATE) < most[0] + 0.01);
    assert.ok(db(truePeakOf(scaled(other, own))) < most[1] + 0.01);
  }
});

test('a level begins low, keeps to its ends, and takes half a second for six decibels up', () => {
  assert.equal(level.db(), -36);
  assert.ok(Math.abs(level.seconds(0.1, 0.2) - 0.5017) < 0.001);
  assert.equal(level.seconds(0.2, 0.1), 0);
  level.set(12);
  assert.equal(level.gain(), 1);
  level.set(-200);
  assert.equal(level.gain(), 0);
  assert.equal(level.words(), 'silent');
});

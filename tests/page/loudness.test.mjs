// Loudness and peaks against the recommendation's own statements.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { loudnessOf, loudnessSteps, truePeakOf, truePeakSteps } from '../../src/show/page/parts/loudness.mjs';

const RATE = 48000;
const sine = (hz, amplitude, seconds, phase = 0) =>
  Float32Array.from({ length: Math.round(seconds * RATE) }, (_, n) => amplitude * Math.sin((2 * Math.PI * hz * n) / RATE + phase));

test('a sine of 997 Hz at full scale in one channel is -3.01 LKFS, so in both it is 0', () => {
  // BS.1770-5, annex 1: "If a 0 dB FS, 997 Hz sine wave is applied to the left, centre or right channel input, the indicated
  // loudness will equal -3.01 LKFS"; two channels add 3.01 dB. To 0.01 dB.
  assert.ok(Math.abs(loudnessOf(sine(997, 1, 2), RATE)) < 0.01, String(loudnessOf(sine(997, 1, 2), RATE)));
  assert.ok(Math.abs(loudnessOf(sine(997, 0.1, 2), RATE) + 20) < 0.01);
});

test('silence between strokes does not count, and silence alone has no loudness', () => {
  const half = new Float32Array(4 * RATE);
  half.set(sine(997, 1, 2));
  // Blocks that lie over an end hold a quarter, a half and three quarters of the sine; all are within 10 LU of it:
  // 17 whole blocks, and at either end three parts. Ten lg of ((17 + 2 * 1.5) / 23), from the closed form: -0.61 LU.
  const expected = 10 * Math.log10((17 + 2 * 1.5) / 23);
  assert.ok(Math.abs(loudnessOf(half, RATE) - expected) < 0.03, `${loudnessOf(half, RATE)} ${expected}`);
  assert.equal(loudnessOf(new Float32Array(RATE), RATE), -Infinity);
});

test('a peak between samples is found', () => {
  // A quarter of the rate, an eighth of a turn late: samples at 0.7071 of the peak. To 0.1 dB, what four times allows near
  // there (BS.1770-5, annex 2, attachment 1: at most 0.69 dB at half the rate).
  const peak = truePeakOf(sine(12000, 0.5, 0.1, Math.PI / 4));
  assert.ok(Math.abs(20 * Math.log10(peak / 0.5)) < 0.1, String(peak));
  assert.ok(Math.abs(truePeakOf(sine(997, 0.5, 1)) - 0.5) < 0.001);
});

test('both can be looked at bit by bit', () => {
  // A tenth of a second of a loop, or a little more, at a time.
  const loop = sine(997, 0.5, 10);
  assert.equal([...loudnessSteps(loop, RATE)].length, 100);
  assert.ok([...truePeakSteps(loop)].length > 50);
});

test('a peak between the last sample and the first is found', () => {
  // 1.5 turns: the top between two samples lies over the seam.
  const loop = Float32Array.from({ length: 48 }, (_, n) => Math.sin((2 * Math.PI * 12 * (n + 0.5)) / 48));
  assert.ok(Math.abs(20 * Math.log10(truePeakOf(loop))) < 0.1, String(truePeakOf(loop)));
});

// The page's mixer against closed forms: it places a hit where it is told to, between samples.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { engine } from '../../src/show/page/parts/engine.mjs';

/** A voice as a page holds it: a bell of cosines, band-limited to under 4 kHz, whose middle is the hit. */
const bell = () => {
  const half = 96; // 1 ms
  const samples = Float32Array.from({ length: 2 * half + 1 }, (_, n) => 0.5 + 0.5 * Math.cos((Math.PI * (n - half)) / half));
  return { samples, pre: half, delayed: new Map() };
};

/** The centre of gravity of samples. */
const middle = (samples) => {
  let sum = 0, moment = 0;
  samples.forEach((x, n) => { sum += x; moment += n * x; });
  return moment / sum;
};

test('a hit lies between samples, where it is told to', () => {
  const rate = 48000;
  for (const at of [0.01, 0.0100001, 0.012345678, 0.02 + 1 / 3 / rate]) {
    const mixed = engine.mix([bell()], [[at, 0, 1]], rate, 2400, false);
    // Ten nanoseconds: 1/2000 of a sample. The bell is even about its middle, so its centre of gravity is the hit.
    assert.ok(Math.abs(middle(mixed) / rate - at) < 1e-8, `${at}: ${middle(mixed) / rate}`);
  }
});

test('what hangs over either end of a loop goes round', () => {
  const rate = 48000, frames = 4800;
  const whole = (at) => engine.mix([bell()], [[at, 0, 1]], rate, frames, true);
  const middleOf = whole(0.05), early = whole(-0.0001), late = whole(0.0999);
  const sum = (samples) => samples.reduce((a, b) => a + b, 0);
  assert.ok(Math.abs(sum(early) - sum(middleOf)) < 1e-4);
  early.forEach((x, n) => assert.ok(Math.abs(x - late[n]) < 1e-6, `${n}`));
});

test('some of a loop is what stands there in the whole', () => {
  const rate = 48000, frames = 4800;
  const hits = [[-0.0001, 0, 1], [0.01, 0, 0.5], [0.03, 0, 0.5], [0.0999, 1, 0.7]];
  const voices = [bell(), bell()], whole = engine.mix(voices, hits, rate, frames, true);
  for (const [from, count] of [[0, frames], [4000, 1600], [470, 20], [frames - 1, 1], [100, 3 * frames + 7]]) {
    const some = engine.part(voices, hits, rate, frames, true, from, count);
    assert.deepEqual([...some], Array.from({ length: count }, (_, n) => whole[(from + n) % frames]));
  }
});

test('a voice that is longer than the loop goes round as often as it lasts', () => {
  const rate = 48000, frames = 100;
  const whole = engine.mix([bell()], [[0.001, 0, 1]], rate, frames, true), straight = engine.mix([bell()], [[0.001, 0, 1]], rate, 400, false);
  // Added up by hand, a loop's length apart.
  const folded = Array.from({ length: frames }, (_, n) => straight.filter((__, at) => at % frames === n).reduce((a, b) => a + b, 0));
  whole.forEach((x, n) => assert.ok(Math.abs(x - folded[n]) < 1e-6, `${n}`));
});

test('hits that come again sound as each would alone', () => {
  const rate = 48000, frames = 48000;
  const times = [0.1, 0.2, 0.3, 0.3000001, 0.5];
  const together = engine.mix([bell()], times.map((at) => [at, 0, 0.5]), rate, frames, true);
  const alone = times.map((at) => engine.mix([bell()], [[at, 0, 0.5]], rate, frames, true));
  together.forEach((x, n) => assert.ok(Math.abs(x - alone.reduce((sum, own) => sum + own[n], 0)) < 1e-6, `${n}`));
});

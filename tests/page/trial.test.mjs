// What a trial plays: gaps to the picosecond, and intervals that are equally loud.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { chance } from '../../src/show/page/parts/chance.mjs';
import { makeTrial } from '../../src/show/page/parts/trial.mjs';

/** Two voices as the mixer takes them: bells of cosines, one twice as long and half as high. */
const bell = (half, high) => ({
  samples: Float32Array.from({ length: 2 * half + 1 }, (_, n) => high * (0.5 + 0.5 * Math.cos((Math.PI * (n - half)) / half))),
  pre: half, delayed: new Map(),
});
const data = {
  tempo_bpm: 90, rate: 48000, headroom_db: 10, places: [[0, 1], [1, 0.7]], bar: null,
  // Loudness without a filter: energies are then sums of squares.
  k: [], staircase: { floor: -2000000, ceiling: 7000000 },
};
const trial = makeTrial(data, [bell(60, 1), bell(120, 0.5)]);

/** The hits of a trial, an interval each, as the two voices' times. */
const times = (task, gap, asked) => trial.hits(task, gap, asked).placed;

test('the gap stands where it was asked for, to the picosecond, and nowhere else', () => {
  for (const ms of [0.25, 0.7321, 1, 6.8047, 32, 128]) {
    const gap = ms / 1000;
    for (const asked of [1, 2, 3]) {
      times('two-or-one', gap, asked).forEach(([a, b], n) => {
        const apart = Math.abs(b[0] - a[0]);
        assert.ok(Math.abs(apart - (n + 1 === asked ? gap : 0)) < 1e-12, `${ms} ms in ${asked}, interval ${n + 1}: ${apart}`);
      });
    }
    for (const asked of [1, 2]) {
      // Which came first: the whole trial is one interval, and voice `asked` leads.
      const [first, second] = times('which-first', gap, asked)[0];
      assert.ok(Math.abs((second[0] - first[0]) * (asked === 1 ? 1 : -1) - gap) < 1e-12);
      // Tight or loose: on each of four beats.
      times('tight-or-loose', gap, asked).forEach((own, n) => {
        for (let k = 0; k < 8; k += 2) {
          assert.ok(Math.abs(Math.abs(own[k + 1][0] - own[k][0]) - (n + 1 === asked ? gap : 0)) < 1e-12);
        }
      });
    }
  }
});

test('all intervals have the same energy, whatever their gap', () => {
  const draw = chance.draw;
  try {
    // Chance in the middle: no level or place by chance.
    chance.draw = (n) => Math.floor(n / 2);
    const energies = [0.25, 1, 4, 16, 128].map((ms) => {
      const samples = trial.samples('two-or-one', ms / 1000, 2);
      // Three intervals, 4/3 s apart from 0.25 s on: cut in the middle between them.
      const cut = [0, 0.25 + 2 / 3, 0.25 + 2, 9].map((s) => Math.round(s * data.rate));
      return [0, 1, 2].map((n) => samples.slice(cut[n], cut[n + 1]).reduce((sum, x) => sum + x * x, 0));
    }).flat();
    // Single-precision samples.
    energies.forEach((e) => assert.ok(Math.abs(e / energies[0] - 1) < 1e-4, `${energies}`));
    assert.ok(energies[0] > 0);
  } finally {
    chance.draw = draw;
  }
});

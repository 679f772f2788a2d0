// The trace of a listener's gap: where marks stand, and which gap is the best so far.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { trace } from '../../src/show/page/parts/trace.mjs';

const trial = (ms, right, track = 0, plain = false) => ({ track, level: Math.log2(ms) * 1000000, asked: 1, answered: right ? 1 : 2, catch: plain });

test('the best gap is the smallest that was told so many times in a row', () => {
  const best = (down, ...of) => trace.best(trace.answers(of), down);
  const eight = Math.log2(8) * 1000000;
  assert.equal(best(2), null);
  assert.equal(best(2, trial(8, true)), null);
  assert.equal(best(2, trial(8, true), trial(8, true), trial(4, true), trial(4, false)), eight);
  // A plain one between breaks no row, and is none itself.
  assert.equal(best(2, trial(8, true), trial(128, false, 0, true), trial(8, true)), eight);
  // Each staircase counts its own.
  assert.equal(best(2, trial(8, true, 0), trial(4, true, 1), trial(8, true, 0)), eight);
  assert.equal(best(1, trial(4, true)), 2000000);
});

test('gaps stand on a log axis, small ones below, and within the picture', () => {
  const of = trace.answers([trial(32, true), trial(16, true), trial(8, false), trial(128, true, 0, true), trial(1, true, 1), trial(2, true, 1)]);
  const { marks, lines, ticks, best } = trace.places(of, 1, 600, 220);
  assert.deepEqual(marks.map((m) => m.right), [true, true, false, true, true]);
  // Halves are equally far apart.
  assert.ok(Math.abs((marks[1].y - marks[0].y) - (marks[2].y - marks[1].y)) < 1e-9 && marks[1].y > marks[0].y);
  assert.ok(marks.every((m, n) => m.x > 0 && m.x < 600 && m.y > 0 && m.y < 220 && (n === 0 || m.x > marks[n - 1].x)));
  assert.deepEqual(lines.map((line) => line.length), [3, 2]);
  assert.equal(best.y, marks[3].y);
  const at = Object.fromEntries(ticks.map((t) => [t.ms, t.y]));
  assert.ok(Math.abs(at[2] - marks[4].y) < 1e-9 && Math.abs(at[1] - marks[3].y) < 1e-9);
});

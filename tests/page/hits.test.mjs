// Hits, shared beats and stretches of a loop, against cases by hand.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { arrowsOf, beatsOf, hitsOf, inMs, isAstray, nearOf, sharedOf, stretchesOf } from '../../src/show/page/parts/hits.mjs';

// Two boxes over two bars of 2000 ms: the second 24 ms late on the first beat, early by 1 ms on the second bar's, and alone on another.
const cell = { hits: [
  [0, 0, 1, 0, 0, 0, 1], [24, 1, 1, 0, 1, 0, 1], [500, 1, 0.5, 0, 1, 500, 0],
  [2000, 0, 1, 1, 0, 2000, 1], [1999, 1, 1, 1, 1, 2000, 0], [4001, 0, 1, 2, 0, 4000, 1],
] };

test('a loop has what is due in its bars, where it goes round', () => {
  const hits = hitsOf(cell, 2, 4000);
  assert.equal(hits.length, 5);
  assert.deepEqual(hitsOf({ hits: [[-3, 0, 1, 0, 0, 0, 1]] }, 1, 2000)[0].place, 1997);
  assert.equal(hits[1].first, true);
  assert.equal(hits[2].first, false);
});

test('hits of one beat belong together, the first to sound first', () => {
  const shared = sharedOf(hitsOf(cell, 2, 4000));
  assert.deepEqual(shared.map((s) => [s.due, s.gap, s.hits.map((h) => h.player)]), [[0, 24, [0, 1]], [2000, 1, [1, 0]]]);
});

test('a gap that is the max gap is within it, at every tempo', () => {
  // Times are whole picoseconds, as the page has them; their differences as numbers are not.
  for (const gap of [0.3, 1.1, 2, 3.3, 6.8]) {
    for (let bpm = 40; bpm <= 240; bpm += 1) {
      const beats = Array.from({ length: 16 }, (_, n) => Math.round((60e12 * n) / bpm));
      const hits = beats.flatMap((ps, n) => [[ps / 1e9, 0, 1, 0, 0, ps / 1e9, 0], [(ps + Math.round(gap * 1e9)) / 1e9, 1, 1, 0, 1, ps / 1e9, 0]]);
      for (const own of sharedOf(hitsOf({ hits }, 1, 1e9))) assert.equal(own.gap, gap);
    }
  }
});

test('of two hits of a player on one beat the first counts', () => {
  const shared = sharedOf(hitsOf({ hits: [[0, 0, 1, 0, 0, 0, 1], [9, 1, 1, 0, 1, 0, 0], [5, 1, 1, 0, 1, 0, 0]] }, 1, 1000));
  assert.equal(shared[0].gap, 5);
});

test('who is far from the beat hides no gap of the others', () => {
  // Three boxes on each of four beats of 500 ms: the second 20 ms late, the third two beats late wherever it plays, which is on two of them.
  const hits = [0, 500, 1000, 1500].flatMap((due, n) => [[due, 0, 1, 0, 0, due, 0], [due + 20, 1, 1, 0, 1, due, 0], ...(n % 2 ? [] : [[due + 1000, 2, 1, 0, 2, due, 0]])]);
  const shared = sharedOf(hitsOf({ hits }, 1, 2000));
  assert.deepEqual(shared.map(({ gap }) => gap), [1000, 20, 1000, 20]);
  assert.deepEqual(shared.map((one) => [nearOf(one, 250).gap, nearOf(one, 250).hits.map((hit) => hit.player)]), Array(4).fill([20, [0, 1]]));
  // Where one is left there is no gap.
  assert.equal(nearOf({ hits: [{ at: 0, due: 0 }, { at: 1000, due: 0 }] }, 250), null);
});

test('each hit that is far from its beat has an arrow, unless arrows would lie over each other', () => {
  const late = (each, by) => hitsOf({ hits: [0, 1, 2, 3].map((n) => [n * each + by, 0, 1, 0, 0, n * each, n === 1 ? 1 : 0]) }, 1, 1e9);
  // As far as from one hit to the next: one arrow begins where another ends.
  assert.equal(arrowsOf(late(1000, 1000), 250).length, 4);
  assert.deepEqual(arrowsOf(late(125, 1000), 250).map((hit) => hit.first), [true]);
  assert.equal(arrowsOf(late(1000, 250), 250).length, 0);
  assert.ok(!isAstray({ at: 250, due: 0 }, 250) && isAstray({ at: 0, due: 250.1 }, 250));
});

test('stretches begin on downbeats where bars have room, and together are the loop', () => {
  const beats = beatsOf({ beats: [[0, 1], [500, 0], [1000, 0], [1500, 0]], barMs: 2000 }, 3);
  assert.equal(beats.length, 12);
  assert.deepEqual(stretchesOf(beats, 6000, 9), [[0, 4000], [4000, 6000]]);
  assert.deepEqual(stretchesOf(beats, 6000, 3), [[0, 1500], [1500, 2000], [2000, 3500], [3500, 4000], [4000, 5500], [5500, 6000]]);
  assert.deepEqual(stretchesOf(beats, 6000, 100), [[0, 6000]]);
});

test('a gap keeps to its side of the max gap, and no gap is shown as none', () => {
  assert.equal(inMs(24.0004, 2), '24');
  assert.equal(inMs(167.0967, 2), '167.1');
  assert.equal(inMs(2400.4, 2), '2400');
  assert.equal(inMs(2.0004, 2), '2.0004');
  assert.equal(inMs(2, 2), '2');
  assert.equal(inMs(0.04, 2), '0.04');
  assert.equal(inMs(0.000001, 2), '0.000001');
  assert.equal(inMs(0, 2), '0');
});

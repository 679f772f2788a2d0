// Files of blind tests: their names, what is read of them, and which two versions a test begins with.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { blindFile } from '../../src/show/page/parts/blind-file.mjs';
import { classTable } from '../../src/show/page/parts/class.mjs';

const trial = (right) => ({ x: 'a', answer: right ? 'a' : 'b', heard: { a: 1, b: 1, x: 1 } });
const saved = (right, of, more = {}) => ({
  hitgap: 'blind-test', format: 1, patch: 'patches/late-bell.toml', title: 'The late bell', tempo_bpm: 80,
  a: { variant: 'phase', gap_ms: 15 }, b: { variant: 'or-gate', gap_ms: 0.04 },
  trials: Array.from({ length: of }, (_, n) => trial(n < right)), ...more,
});
const read = (value) => blindFile.read(typeof value === 'string' ? value : JSON.stringify(value));

test('a file is called by its listener and its patch, and by nothing that leads elsewhere', () => {
  assert.equal(blindFile.fileName('Robin', 'patches/late-bell.toml'), 'hitgap-blind-test-Robin-late-bell.json');
  assert.equal(blindFile.fileName('', 'C:\\rigs\\late-bell.toml'), 'hitgap-blind-test-late-bell.json');
  assert.equal(blindFile.fileName('Zoë Ångström', 'three-robots.lesson.toml'), 'hitgap-blind-test-Zoë-Ångström-three-robots.json');
  for (const name of ['../../etc/passwd', 'a/b\\c:d*?"<>|', '.', '..', '\u202egnp.', 'x'.repeat(500), '🥁🥁']) {
    const file = blindFile.fileName(name, 'p.toml');
    assert.match(file, /^hitgap-blind-test-[\p{L}\p{M}\p{N}._+-]*p\.json$/u, name);
    assert.ok(file.length < 80 && !file.includes('-.'), file);
  }
});

test('what a page saved is counted anew', () => {
  const { test: one } = read({ ...saved(12, 16), listener: ' Robin ', right: 16, later: [1] });
  assert.deepEqual([one.who, one.right, one.of, one.bpm, one.tests], ['Robin', 12, 16, 80, 1]);
  assert.equal(read(`\ufeff${JSON.stringify(saved(1, 2))}`).test.right, 1);
  assert.equal(read({ ...saved(1, 2), listener: 'a\u202eb\u0007' }).test.who, 'a\ufffdb\ufffd');
});

test('what is no blind test is told, and breaks nothing', () => {
  const whole = JSON.stringify(saved(2, 3));
  for (let end = 0; end < whole.length; end += 7) assert.ok(read(whole.slice(0, end)).fault, whole.slice(0, end));
  for (const odd of ['null', '[]', '7', '"x"', '{}', '{"hitgap":"training"}', '{"__proto__":{"hitgap":"blind-test"}}']) assert.ok(read(odd).fault, odd);
  const odd = [
    { format: 2 }, { tempo_bpm: 0 }, { tempo_bpm: '80' }, { tempo_bpm: 1e9 }, { trials: [] }, { trials: {} }, { trials: [null] },
    { trials: Array.from({ length: 101 }, () => trial(true)) }, { trials: [{ x: 'c', answer: 'a' }] }, { a: null }, { a: { variant: 7, gap_ms: 1 } },
    { b: { variant: 'x', gap_ms: '1' } }, { patch: 1 }, { title: 'x'.repeat(2001) }, { tests: 0 }, { tests: 1.5 }, { listener: 'x'.repeat(65) }, { listener: 7 },
  ];
  for (const more of odd) assert.ok(read({ ...saved(2, 3), ...more }).fault, JSON.stringify(more));
  // Nothing meets: no gap.
  assert.equal(read({ ...saved(2, 3), a: { variant: 'phase', gap_ms: null } }).test.sides[0].gap, null);
});

test('a test begins with the closest two that still differ', () => {
  assert.deepEqual(blindFile.closest([2400, 15, 0.04]), [1, 2]);
  // A sign says who is first: 5 ms before and 5 ms after are ten apart.
  assert.deepEqual(blindFile.closest([5, -5, 8]), [0, 2]);
  // Two that do not differ are no test, nor two of which one meets nothing.
  assert.deepEqual(blindFile.closest([7, 7, 20, null]), [0, 2]);
  assert.deepEqual(blindFile.closest([0, 0.01, 30]), [1, 2]);
  assert.deepEqual(blindFile.closest([3, 3]), [0, 1]);
  assert.deepEqual(blindFile.closest([3]), [0, 0]);
});

test('a class is a table: each listener counted alone, all of them together', () => {
  const of = (who, right, at) => read({ ...saved(right, 16), listener: who, saved: at }).test;
  const all = classTable.counted([of('wren', 14, '1'), of('ox', 12, '2'), of('ox', 12, '3'), of('ox', 12, '2'), of('', 8, '4')]);
  // One that was handed in twice is one.
  assert.equal(all.length, 4);
  const rows = classTable.rows(all);
  assert.deepEqual(rows.map((r) => r[0]), ['no name', 'ox', 'ox', 'wren']);
  assert.deepEqual(rows[3], ['wren', 'phase, or-gate', '80', '14 of 16', 'in 0.2 % of tests', 'heard']);
  // 12 of 16 is guessed in 3.8 %, once or more in two tests in 7.5 %.
  assert.deepEqual(rows[1].slice(3), ['12 of 16', 'in 3.8 % of tests', 'one of 2 tests: not shown']);
  const [first, second] = classTable.together(all);
  assert.equal(first, '1 of 4 tests shows that the difference is heard; of twenty that are guessed, one would.');
  // The tail of 46 of 64 by whole numbers.
  let term = 1n, sum = 0n;
  for (let k = 0n; k <= 64n; k += 1n) { if (k >= 46n) sum += term; term = (term * (64n - k)) / (k + 1n); }
  assert.ok(Number(sum) / 2 ** 64 < 0.001);
  assert.equal(second, 'phase and or-gate at 80, 3 listeners together: right 46 times of 64; guessing does that, or better, in under 0.1 % of cases.');
});

import assert from 'node:assert/strict';
import { test } from 'node:test';
import { caretIn, lineAt, lineOf, merged, placeOf } from '../../src/show/page/parts/draft.mjs';

test('a line is found in a text', () => {
  const text = 'one\n\nthree';
  assert.deepEqual([1, 2, 3, 9].map((line) => text.slice(...placeOf(text, line))), ['one', '', 'three', 'three']);
  assert.deepEqual(placeOf(text, 3), [5, 10]);
  assert.deepEqual([0, 4, 5].map((place) => lineAt(text, place)), [1, 2, 3]);
});

test('a caret stays where it was written', () => {
  const before = 'a = 1\nb = 2\nc = 3\n', after = 'a = 1\nb = 2000\nc = 3\n';
  assert.equal(caretIn(before, after, 3), 3);
  // In the line below, three characters further on.
  assert.equal(caretIn(before, after, before.indexOf('c')), after.indexOf('c'));
  assert.equal(caretIn(before, before, 9), 9);
  assert.ok(caretIn('long text here', '', 9) === 0);
});

test('a key is found by its path', () => {
  const text = 'title = "a"\n\n[clock.home]\nrate = "1 per beat"\n\n[sequencer.wren]\nsteps = "x"\nclock = "home"\n\n[fix.gate]\nset."clock.home.rate" = "2 per beat"\n';
  const at = (...path) => lineOf(text, path);
  assert.deepEqual([at('title'), at('clock', 'home'), at('clock', 'home', 'rate'), at('sequencer', 'wren', 'clock'), at('nothing')], [1, 3, 4, 8, null]);
  // One that is not written stands where it would be: at its table.
  assert.equal(at('sequencer', 'wren', 'offset'), 6);
});

test('two changes of different places are both kept', () => {
  const base = 'a\nb\nc\nd\ne';
  assert.equal(merged(base, 'A\nb\nc\nd\ne', 'a\nb\nc\nd\nE\nF'), 'A\nb\nc\nd\nE\nF');
  assert.equal(merged(base, 'a\nb\nc\nd\nE', 'b\nc\nd\ne'), 'b\nc\nd\nE');
  assert.equal(merged(base, 'same', 'same'), 'same');
  // One place: nobody's is taken unasked.
  assert.equal(merged(base, 'a\nb\nmine\nd\ne', 'a\nb\ntheirs\nd\ne'), null);
  assert.equal(merged(base, 'a\nmine\nc\nd\ne', 'a\nb\ntheirs\nd\ne'), null);
});

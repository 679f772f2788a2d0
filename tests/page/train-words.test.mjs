// What a training page says, by hand.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { words } from '../../src/show/page/parts/train-words.mjs';

test('gaps are said in two figures, and the ends whole from three milliseconds on', () => {
  // The same figures as in the program (show/report/heard).
  assert.deepEqual([0.254, 0.994, 0.996, 2, 6.8047, 9.94, 9.96, 12.5, 127.9].map(words.about), ['0.25', '0.99', '1', '2', '6.8', '9.9', '10', '13', '128']);
  assert.deepEqual([0.25, 0.31, 1.031, 2.94, 2.96, 3.7345, 9.7588].map(words.end), ['0.25', '0.3', '1', '2.9', '3', '4', '10']);
});

test('an answer is told at its button', () => {
  const told = (task, asked, answered) => words.feedback(task, ['kick', 'snare'], { asked, answered, ms: 12.04 });
  assert.equal(told('two-or-one', 2, 2), 'right: 12 ms apart');
  assert.equal(told('two-or-one', 2, 3), 'no: it was the second');
  assert.equal(told('which-first', 1, 1), 'right: 12 ms ahead');
  assert.equal(told('which-first', 2, 1), 'no: snare came first');
  assert.equal(told('tight-or-loose', 1, 1), 'right: 12 ms apart');
  assert.equal(told('tight-or-loose', 1, 2), 'no: the first bar was loose');
});

test('what comes next, and how much longer', () => {
  assert.deepEqual([[5, 4], [4, 5], [4, 4]].map(([a, b]) => words.next(a, b)), ['smaller now', 'wider again', 'the same gap once more']);
  const said = [10, 44, 46, 89, 91, 290].map(words.more);
  assert.deepEqual(said, ['less than a minute more', 'less than a minute more', 'about a minute more', 'about a minute more', 'about 2 minutes more', 'about 5 minutes more']);
});

test('the end is a sentence, and what it means for a patch', () => {
  const found = { ms: 6.8047, between: [3.7345, 9.7588] };
  const [said, meaning] = words.heard('two-or-one', 'kick and snare at 90', found);
  assert.equal(said, 'You hear a gap of about 6.8 ms (4 to 10), kick and snare at 90.');
  assert.ok(meaning.startsWith('For a patch that is max-gap = "6.8 ms".'), meaning);
  for (const none of ['ceiling', 'floor', 'short', 'guessing']) {
    const [nothing, what] = words.heard('two-or-one', 'kick and snare at 90', { none });
    assert.ok(nothing.startsWith('No threshold yet, kick and snare at 90: ') && !nothing.includes('undefined') && what.length > 20, nothing);
  }
});

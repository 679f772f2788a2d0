import assert from 'node:assert/strict';
import { test } from 'node:test';
import { calledOf, clearsOf, editsOf, fixOf, freeName, GROUPS, groupOf, heldOf, isUsual, keyOf, marked, sentenceOf, signsOf, wholeOf, withoutTicks, wordOf } from '../../src/show/page/parts/words.mjs';

const dial = { is: 'dial', units: ['ms'] };
const word = (at, takes = dial, more = {}) => ({ at, takes, value: '1 ms', changed: false, clears: true, ...more });
const offset = word(['sequencer', 'wren', 'offset'], dial, { value: null, clears: false, beside: [{ do: 'clear', at: ['sequencer', 'wren', 'latency'] }] });
const desk = {
  words: [
    word(['sequencer', 'wren'], { is: 'name' }), word(['sequencer', 'wren', 'latency']),
    word(['sequencer', 'wren'], { is: 'more', words: [3] }), offset,
  ],
  sentences: [{ kind: 'fix', name: 'gate' }, { kind: 'sequencer', name: 'wren' }],
};

test('a word is found again by its path, also behind `more`', () => {
  assert.equal(wordOf(desk, 'sequencer.wren.latency'), desk.words[1]);
  // The name and the `more` of one table stand at one path.
  assert.equal(wordOf(desk, keyOf(desk.words[0])), desk.words[0]);
  assert.equal(wordOf(desk, keyOf(desk.words[2])), desk.words[2]);
  const behind = wordOf(desk, 'sequencer.wren.offset');
  assert.deepEqual([behind.behind, behind.takes], ['sequencer.wren more', dial]);
  assert.equal(wordOf(desk, 'sequencer.ox.offset'), null);
  assert.deepEqual(desk.words.map(calledOf), ['name of wren', 'latency of wren', 'more of wren', 'offset of wren']);
  // An entry of a list has a number, from 0.
  assert.equal(calledOf(word(['change', 0, 'after'])), 'after of change 1');
  assert.equal(calledOf(word(['fix', 'gate', 'set', 'clock.slow.phase'])), 'clock.slow.phase in gate');
});

test('a sentence begins with a capital, and a sign stays the sign that it is', () => {
  assert.equal(sentenceOf('how late it is'), 'How late it is.');
  const steps = '`x` a hit, `X` an accent, `.` a rest';
  assert.deepEqual(signsOf(sentenceOf(steps)), [['x', true], [' a hit, ', false], ['X', true], [' an accent, ', false], ['.', true], [' a rest.', false]]);
  assert.equal(withoutTicks(steps), 'x a hit, X an accent, . a rest');
  assert.equal(sentenceOf(null), '');
});

test('a change goes into the fix at hand, where a fix may set it', () => {
  assert.deepEqual(editsOf(desk.words[1], '2 ms', null), [{ do: 'set', at: ['sequencer', 'wren', 'latency'], to: '2 ms' }]);
  assert.equal(editsOf(desk.words[1], '2 ms', 'gate')[0].fix, 'gate');
  assert.equal(editsOf(word(['tempos']), [60], 'gate')[0].fix, undefined);
  assert.deepEqual(editsOf(desk.words[0], 'finch', 'gate'), [{ do: 'rename', at: ['sequencer', 'wren'], as: 'finch' }]);
  // What goes along when a key is written for the first time goes before it, once.
  const set = { do: 'set', at: offset.at, to: '1 ms' };
  assert.deepEqual(editsOf(offset, '1 ms', null), [...offset.beside, set]);
  assert.deepEqual(editsOf(offset, '1 ms', null, false), [set]);
  // A choice that means more than a value says itself what is done.
  const own = [{ do: 'set', at: ['stage', 'gate'], to: { kind: 'rc' } }];
  const kind = word(['stage', 'gate', 'kind'], { is: 'list', of: [{ to: 'delay', says: '' }, { to: 'rc', says: '', edits: own }] });
  assert.deepEqual(editsOf(kind, 'rc', null), own);
  assert.equal(fixOf(desk, 'gate'), 'gate');
  // A box of that name is no fix.
  assert.equal(fixOf(desk, 'wren'), null);
});

test('what can be left out is what is written', () => {
  assert.deepEqual(clearsOf(desk.words[1], null), [{ do: 'clear', at: ['sequencer', 'wren', 'latency'] }]);
  assert.equal(clearsOf(offset, null), null);
  assert.equal(clearsOf(desk.words[0], null), null);
  // Of a fix only what the fix sets.
  assert.equal(clearsOf(desk.words[1], 'gate'), null);
  assert.equal(clearsOf({ ...desk.words[1], changed: true }, 'gate')[0].fix, 'gate');
  const apart = [{ do: 'clear', at: ['a'] }];
  assert.equal(clearsOf({ ...desk.words[1], apart }, null)[0], apart[0]);
  assert.deepEqual([['sequencer', 'wren'], ['change', 0], ['jitter'], []].map(wholeOf), [['rename', 'duplicate', 'remove'], ['remove'], [], []]);
});

test('a name that is free', () => {
  assert.equal(freeName('wren', []), 'wren');
  assert.equal(freeName('Wren', ['wren', 'wren-2']), 'Wren-3');
  assert.equal(freeName('wren-2', ['wren', 'wren-2']), 'wren-3');
});

test('every kind has its group', () => {
  assert.deepEqual(['clock', 'hits', 'wire', 'fix', 'top', 'voice', 'unheard'].map(groupOf), ['clock', 'boxes', 'way', 'fixes', 'piece', 'sounds', 'sounds']);
  assert.equal(GROUPS.at(-1).id, 'sounds');
});

test('of two texts what each has of its own is marked', () => {
  const own = (text, other) => marked(text, other).filter(([, differs]) => differs).map(([line]) => line);
  assert.deepEqual(own('a\nb\nc\nd', 'a\nc\nd\ne'), ['b']);
  assert.deepEqual(own('a\nc\nd\ne', 'a\nb\nc\nd'), ['e']);
  assert.deepEqual(own('a\nx\nc\ny\ne', 'a\n1\nc\n2\ne'), ['x', 'y']);
  assert.deepEqual(own('same', 'same'), []);
  assert.equal(marked('a\nb', 'b').map(([line]) => line).join('\n'), 'a\nb');
});

test('what holds where nothing is written is told, and an editor begins with it', () => {
  const width = word(['clock', 'a', 'width'], dial, { value: null, says: '2.5 ms', without: 'the shorter of 5 ms and half the period' });
  assert.deepEqual([isUsual(width), heldOf(width)], [true, '2.5 ms']);
  assert.equal(heldOf({ ...width, says: '40 µs' }), '40 us');
  assert.equal(heldOf({ ...width, without: '0 s' }), '0 s');
  assert.deepEqual([isUsual(word(['clock', 'a', 'width'])), heldOf(word(['clock', 'a', 'width']))], [false, '1 ms']);
  assert.equal(isUsual(word(['sequencer', 'wren'], { is: 'more', words: [] }, { value: null, without: 'x' })), false);
});

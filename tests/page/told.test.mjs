import assert from 'node:assert/strict';
import test from 'node:test';
import { makeTold } from '../../src/show/page/parts/told.mjs';

const word = (says) => ({ says });

test('what was had and what is new come to the whole', () => {
  const told = makeTold();
  assert.equal(told.has(), null);
  const first = { told: 'a', words: ['x', 'y', 'z'].map(word), sentences: [{ id: 'one' }], can: { add: [1] }, faults: [] };
  assert.deepEqual(told.whole(first), first);
  assert.equal(told.has(), 'a');
  const next = told.whole({ told: 'b', since: 'a', words: [[2, 1], word('new'), [0, 2]], sentences: [[0, 1]], faults: ['f'], revision: 7 });
  assert.deepEqual(next.words, ['z', 'new', 'x', 'y'].map(word));
  // The same things, so that what did not change is seen by that.
  assert.equal(next.words[2], first.words[0]);
  assert.deepEqual([next.sentences, next.can, next.faults, next.revision], [[{ id: 'one' }], { add: [1] }, ['f'], 7]);
  // An answer that was under way stands on the one before.
  assert.deepEqual(told.whole({ told: 'c', since: 'a', words: [[1, 1]], sentences: [], can: { add: [] } }).words, [word('y')]);
  assert.equal(told.has(), 'c');
});

test('a desk that is told whole is taken as it is, and what nobody has is no desk', () => {
  const told = makeTold();
  const plain = { words: [], sentences: [] };
  assert.equal(told.whole(plain), plain);
  assert.equal(told.whole(undefined), undefined);
  assert.throws(() => told.whole({ told: 'b', since: 'a', words: [[0, 1]], sentences: [] }));
  told.whole({ told: 'a', words: [word('x')], sentences: [], can: {} });
  told.forget();
  assert.equal(told.has(), null);
  assert.throws(() => told.whole({ told: 'b', since: 'a', words: [[0, 1]], sentences: [] }));
});

test('what is long ago is let go', () => {
  const told = makeTold();
  for (let n = 0; n < 20; n += 1) told.whole({ told: `t${n}`, words: [], sentences: [], can: {} });
  assert.throws(() => told.whole({ told: 'z', since: 't3', words: [], sentences: [], can: {} }));
  assert.equal(told.whole({ told: 'z', since: 't18', words: [], sentences: [], can: {} }).told, 'z');
});

import assert from 'node:assert/strict';
import { test } from 'node:test';
import { sincesOf } from '../../src/show/page/parts/since.mjs';

const whens = (desk, trial) => sincesOf(desk, trial).map(({ since }) => since);

test('what has changed may be kept since each moment that there was', () => {
  // A rig that was never saved: since it was opened, or some changes.
  assert.deepEqual(whens({ keeps: ['opened'], undo: 3 }), ['opened', 'steps']);
  assert.deepEqual(whens({ keeps: ['saved', 'opened'], undo: 3 }), ['saved', 'opened', 'steps']);
  // Saved with all that was changed: the last changes are still there to be kept.
  assert.deepEqual(whens({ keeps: [], undo: 1 }), ['steps']);
  assert.deepEqual(whens({ keeps: [], undo: 0 }), []);
  // What is being tried comes first.
  assert.deepEqual(whens({ keeps: ['opened'], undo: 1 }, { says: 'gate' }), ['trial', 'opened', 'steps']);
  assert.equal(sincesOf({ keeps: [], undo: 1 }, { says: 'gate' })[0].says, 'since trying gate');
});

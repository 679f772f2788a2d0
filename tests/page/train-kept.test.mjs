// What a session is kept under, and what it says of its sounds.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { heardFrom, makeKept } from '../../src/show/page/parts/train-kept.mjs';

test('a session says what its voices are played from, and nothing where all are drawn', () => {
  assert.deepEqual(heardFrom([{ name: 'kick' }, { name: 'snare' }]), {});
  assert.deepEqual(heardFrom([{ name: 'kick' }, { name: 'bell', sound: '0a' }]), { sounds: ['', '0a'] });
});

test('a session of other sounds is not gone on with', () => {
  const store = new Map();
  globalThis.localStorage = {
    setItem: (key, text) => store.set(key, text),
    getItem: (key) => store.get(key) ?? null,
    removeItem: (key) => store.delete(key),
  };
  const kept = (sound) => makeKept({ voices: [{ name: 'kick' }, { name: 'bell', ...(sound ? { sound } : {}) }], tempo_bpm: 90 });
  kept('0a').put({ task: 'two-or-one' });
  assert.deepEqual([kept('0a').get(), kept('0b').get(), kept().get()], [{ task: 'two-or-one' }, null, null]);
  // As it was before there were sounds: what waits is still found.
  kept().put({ task: 'which-first' });
  assert.ok(store.has('hitgap-training-1/kick+bell/90'));
  delete globalThis.localStorage;
});

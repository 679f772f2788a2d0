import assert from 'node:assert/strict';
import { test } from 'node:test';
import { withNear } from '../../src/show/page/parts/near.mjs';
import { makeVoices } from '../../src/show/page/parts/voices.mjs';

/** `[at, voice, gain, bar, player, due, first]`. */
const hit = (voice, player) => [0, voice, 1, 0, player, 0, 0];
const variant = (name, ...players) => ({ name, players: players.map((player) => [player, 'x']) });
const data = () => ({
  maxGap: '2',
  variants: [variant('original', 'ox', 'wren'), variant('gate', 'ox', 'wren')],
  tempos: ['60', '120'].map((bpm) => ({ bpm, cells: [{ hits: [hit(0, 0), hit(1, 1)] }, { hits: [hit(1, 1)] }] })),
});

test('one tempo is new, and its hits name voices of the page', () => {
  const near = { variants: data().variants, tempo: { bpm: '120', cells: [{ hits: [hit(0, 0), hit(1, 1)] }, null] } };
  const now = withNear(data(), near, [1, 2]);
  assert.deepEqual(now.tempos[1].cells, [{ hits: [hit(1, 0), hit(2, 1)] }, null]);
  assert.deepEqual(now.tempos[0], data().tempos[0]);
  assert.equal(now.maxGap, '2');
  assert.equal(withNear(data(), { ...near, tempo: { bpm: '97', cells: [] } }, []), null);
});

test('other tempos keep their versions and players by name', () => {
  const near = {
    variants: [variant('original', 'finch', 'ox'), variant('late', 'ox'), variant('gate', 'wren', 'ox')],
    tempo: { bpm: '120', cells: [{ hits: [] }, { hits: [] }, { hits: [] }] },
  };
  const { cells } = withNear(data(), near, []).tempos[0];
  // `late` is new; of the original `wren` is gone, and `ox` has another place; in `gate` the two have changed places.
  assert.equal(cells[1], null);
  assert.deepEqual(cells[0].hits, [hit(0, 1)]);
  assert.deepEqual(cells[2].hits, [hit(1, 0)]);
});

test('a voice is fetched once, and stays the same', async () => {
  const asked = [];
  const voice = { pcm: '', pre: 0, scale: 1 };
  const voices = makeVoices([{ ...voice, id: 'kick' }], async (id) => { asked.push(id); return voice; });
  const playing = { own: true };
  voices.adopt([{ ...voice, id: 'kick' }], [playing]);
  const first = await voices.of(['kick', 'bell']);
  const second = await voices.of(['bell', 'kick']);
  assert.deepEqual(asked, ['bell']);
  assert.ok(first[0] === playing && second[1] === playing && first[1] === second[0]);
});

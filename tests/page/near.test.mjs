import assert from 'node:assert/strict';
import { test } from 'node:test';
import { withNear, withOwn } from '../../src/show/page/parts/near.mjs';
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

test('a tempo of the page alone stands behind those of the patch, one at a time, and stays when the patch is new', () => {
  const near = (bpm) => ({ variants: data().variants, tempo: { bpm, bars: 8, cells: [{ hits: [hit(0, 0), hit(1, 1)] }, { hits: [hit(1, 1)] }] } });
  const first = withNear(data(), near('97'), [1, 2], true);
  assert.deepEqual(first.tempos.map(({ bpm, own }) => [bpm, own]), [['60', undefined], ['120', undefined], ['97', true]]);
  assert.deepEqual(first.tempos[2].cells, [{ hits: [hit(1, 0), hit(2, 1)] }, { hits: [hit(2, 1)] }]);
  const second = withNear(first, near('98'), [1, 2], true);
  assert.deepEqual(second.tempos.map(({ bpm }) => bpm), ['60', '120', '98']);
  // A change that is heard at it leaves it the page's own; one that the patch has is the patch's.
  assert.equal(withNear(second, near('98'), [1, 2]).tempos[2].own, true);
  assert.equal(withNear(data(), near('60'), [0, 1], true).tempos.length, 2);
  // The patch has become another: its versions are others, and so are the places of its voices.
  const next = { ...data(), variants: [variant('original', 'ox', 'wren'), variant('late', 'ox'), variant('gate', 'wren', 'ox')], tempos: [{ bpm: '60', cells: [null, null, null] }] };
  const kept = withOwn(next, second, [-1, 5, 6], [1, 2, 4]);
  assert.deepEqual(kept.tempos.map(({ bpm }) => bpm), ['60', '98']);
  assert.equal(kept.tempos[1].bars, 4);
  assert.deepEqual(kept.tempos[1].cells, [{ hits: [hit(5, 0), hit(6, 1)] }, null, { hits: [hit(6, 0)] }]);
  // Written into the patch, it is one of its own.
  const written = { ...next, tempos: [{ bpm: '98', cells: [null, null, null] }] };
  assert.equal(withOwn(written, second, [], [1]), written);
  assert.equal(withOwn(next, data(), [], [1]), next);
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

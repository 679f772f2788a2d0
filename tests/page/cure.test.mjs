import assert from 'node:assert/strict';
import { test } from 'node:test';
import { keptEdits, triedEdits } from '../../src/show/page/parts/cure.mjs';

const gate = { kind: 'delay', delay: '40 us' };
const cure = { name: 'gate-wren', about: 'put gate into the way to wren', set: [['stage.gate', gate], ['sequencer.wren.clock', ['slow', 'gate']]], one: null };
const desk = {
  sentences: [
    { id: 'sequencer.wren', kind: 'sequencer', name: 'wren' }, { id: 'fix.phase', kind: 'fix', name: 'phase' }, { id: 'fix.Gate-wren', kind: 'fix', name: 'Gate-wren' },
    { id: 'clock.serial', kind: 'clock', name: 'serial', brought: { do: 'add', at: ['clock', 'serial'], to: { rate: '24 per beat' } } },
  ],
  words: [{ at: ['one'], value: null }, { at: ['sequencer', 'wren', 'one'], value: null }],
};

test('a cure is tried in the patch by setting what a fix would set', () => {
  assert.deepEqual(triedEdits(cure, desk), [
    { do: 'add', at: ['stage', 'gate'], to: gate },
    { do: 'set', at: ['sequencer', 'wren', 'clock'], to: ['slow', 'gate'] },
  ]);
  // A stage that is there is set anew, and what a kind of box brings is written out once before it is changed.
  const there = { ...desk, sentences: [...desk.sentences, { id: 'stage.gate', kind: 'stage', name: 'gate' }] };
  assert.deepEqual(triedEdits(cure, there)[0], { do: 'set', at: ['stage', 'gate'], to: gate });
  const turned = { ...cure, set: [['clock.serial.phase', '1 %'], ['clock.serial.width', '5 ms']], one: 'home' };
  assert.deepEqual(triedEdits(turned, desk), [
    desk.sentences[3].brought,
    { do: 'set', at: ['clock', 'serial', 'phase'], to: '1 %' }, { do: 'set', at: ['clock', 'serial', 'width'], to: '5 ms' },
    { do: 'set', at: ['one'], to: 'home' },
  ]);
  // Where the patch names the one, it stays.
  assert.equal(triedEdits(turned, { ...desk, words: [{ at: ['one'], value: 'slow' }] }).length, 3);
  // In a fix that is at hand its keys are set; the stage is the patch's.
  assert.deepEqual(triedEdits(cure, desk, 'phase')[1], { do: 'set', at: ['sequencer', 'wren', 'clock'], to: ['slow', 'gate'], fix: 'phase' });
});

test('a cure is kept as a fix under a name that is free', () => {
  const { name, edits } = keptEdits(cure, desk);
  assert.equal(name, 'gate-wren-2');
  assert.deepEqual(edits, [{ do: 'add', at: ['fix', 'gate-wren-2'], to: { about: cure.about, set: { 'stage.gate': gate, 'sequencer.wren.clock': ['slow', 'gate'] } } }]);
  assert.equal(keptEdits({ ...cure, name: 'original' }, desk).name, 'original-2');
  assert.equal(keptEdits({ ...cure, name: 'x'.repeat(70) }, desk).name.length, 58);
  // With a fix at hand: all that it does, and the cure.
  const both = keptEdits(cure, desk, 'phase');
  assert.deepEqual(both.edits, [
    { do: 'duplicate', at: ['fix', 'phase'], as: 'gate-wren-2' },
    { do: 'set', at: ['fix', 'gate-wren-2', 'about'], to: `phase, and ${cure.about}` },
    { do: 'set', at: ['fix', 'gate-wren-2', 'set', 'stage.gate'], to: gate },
    { do: 'set', at: ['fix', 'gate-wren-2', 'set', 'sequencer.wren.clock'], to: ['slow', 'gate'] },
  ]);
});

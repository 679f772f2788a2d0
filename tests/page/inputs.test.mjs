import assert from 'node:assert/strict';
import { test } from 'node:test';
import { freeName, inputsOf, saidInput, withStage } from '../../src/show/page/parts/inputs.mjs';

test('an input is a path of a box that is written, once', () => {
  const path = (at, value) => ({ at, value, takes: { is: 'path' } });
  const words = [
    path(['sequencer', 'wren', 'clock'], ['slow', 'or-gate']), path(['sequencer', 'wren', 'clock'], ['slow', 'or-gate']),
    path(['sequencer', 'wren', 'reset'], 'home'), path(['sequencer', 'ox', 'reset'], null), path(['sequencer', 'ox', 'out'], null),
    { ...path(['sequencer', 'wren', 'out'], 'far'), takes: { is: 'path', from: [], through: ['far'] } },
    path(['wire', 'basket', 'from'], 'slow'), { at: ['sequencer', 'wren', 'steps'], value: 'x', takes: { is: 'steps' } },
  ];
  assert.deepEqual([...inputsOf(words).keys()], ['sequencer.wren.clock', 'sequencer.wren.reset']);
  assert.equal(inputsOf(words).get('sequencer.wren.clock'), words[0]);
});

test('an input is said as people call it', () => {
  assert.equal(saidInput('sequencer.wren.clock'), "wren's clock");
});

test('a stage more stands at the end of a path, under a name that is free', () => {
  assert.deepEqual(withStage('slow', 'gate'), ['slow', 'gate']);
  assert.deepEqual(withStage(['slow', 'a'], 'gate'), ['slow', 'a', 'gate']);
  assert.equal(freeName('gate', new Set(['other'])), 'gate');
  assert.equal(freeName('gate', new Set(['gate', 'gate-2'])), 'gate-3');
});

// What a player holds, and what is chosen.
import { carried } from './carry.mjs';
import { engine } from './engine.mjs';

/** A player: all that is below `root`, whose ids begin with `prefix`. */
export const makeState = (root, prefix) => {
  const $ = (id) => document.getElementById(prefix + id);
  const data = JSON.parse($('data').textContent);
  const voices = data.voices.map(engine.decode);
  const state = { tempo: 0, version: 0, bars: data.tempos[0].bars };
  /** What a version plays at a tempo; null where it is not made. */
  const cell = (tempo = state.tempo, version = state.version) => data.tempos[tempo].cells[version];
  const loopSeconds = (tempo, bars) => (bars * data.tempos[tempo].barMs) / 1000;

  /** What a loop plays, as `[seconds, voice, factor]`: each hit that is due in its bars, once. What sounds before the loop begins or
   * after it has ended goes round. */
  const played = (tempo, version, bars) => {
    const { hits, gain } = cell(tempo, version) ?? { hits: [], gain: 0 };
    return hits.filter(([, , , bar]) => bar < bars).map(([ms, voice, factor]) => [ms / 1000, voice, factor * gain]);
  };

  /** So many loops are kept; a grid has more, and they would fill a phone. */
  const KEPT = 64;
  let loops = new Map(), before = new Map();
  const numbers = new WeakMap();
  let counted = 0;
  /** Each voice has a number for as long as it is there. */
  const numberOf = (voice) => {
    if (!numbers.has(voice)) numbers.set(voice, counted += 1);
    return numbers.get(voice);
  };
  const framesOf = (tempo, bars) => Math.round(loopSeconds(tempo, bars) * data.rate);
  /** What is heard of a loop is its name: a patch that has changed elsewhere has it already. */
  const nameOf = (tempo, version, bars) => `${framesOf(tempo, bars)} ${played(tempo, version, bars).map(([seconds, voice, factor]) => `${seconds} ${numberOf(voices[voice])} ${factor}`).join(' ')}`;
  /** The loop of one version: the hits of its first bars, mixed once and kept; silence where it is not made. */
  const loop = (tempo, version, bars, name = nameOf(tempo, version, bars)) => {
    if (!loops.has(name)) loops.set(name, before.get(name) ?? engine.mix(voices, played(tempo, version, bars), data.rate, framesOf(tempo, bars), true));
    return loops.get(name);
  };
  /** Whether a loop is mixed already. */
  const mixed = (name) => loops.has(name) || before.has(name);
  /** Some of a loop, from a sample on. */
  const piece = (tempo, version, bars, from, count) => engine.part(voices, played(tempo, version, bars), data.rate, framesOf(tempo, bars), true, from, count);
  const allLoops = (tempo, bars) => {
    if (loops.size > KEPT) loops.clear();
    return data.variants.map((_, version) => loop(tempo, version, bars));
  };
  const text = (id, words) => { $(id).textContent = words; };
  const say = (words) => text('said', words);
  const changed = [];
  const tell = () => changed.forEach((listener) => listener());
  let edition = 0;
  /** Takes other data, of which `offered` are the loops in bars, and its voices; what is chosen stays so by its name. */
  const take = (next, offered, decoded = next.voices.map(engine.decode)) => {
    Object.assign(state, carried(data, state, next, offered));
    for (const key of Object.keys(data)) delete data[key];
    Object.assign(data, next);
    voices.splice(0, voices.length, ...decoded);
    [before, loops] = [loops, new Map()];
    edition += 1;
  };
  return { root, prefix, $, data, voices, state, cell, loopSeconds, played, framesOf, nameOf, loop, mixed, piece, allLoops, text, say, changed, tell, take, edition: () => edition };
};

// Where this tab was: its version, tempo and loop, over a reload.
import { live } from './live.mjs';
import { tempoDesk } from './tempo-desk.mjs';

export const place = (() => {
  const { page } = live, { data, state, cell, player, $ } = page;
  const KEY = `hitgap place ${data.patch}`;
  const read = () => {
    try { return JSON.parse(sessionStorage.getItem(KEY)); } catch { return null; }
  };
  /** What is still to be found again: a version that is not made yet. */
  let wanted = null;
  const find = () => {
    const tempo = data.tempos.findIndex(({ bpm }) => bpm === wanted.tempo);
    const version = data.variants.findIndex(({ name }) => name === wanted.version);
    if (tempo >= 0) player.tempo(tempo, [...$('bars').options].some((option) => Number(option.value) === wanted.bars) ? wanted.bars : state.bars);
    if (version >= 0 && cell(state.tempo, version) !== null) player.version(version);
    if (tempo < 0 && wanted.own) { tempoDesk.go(Number(wanted.tempo)); wanted.own = false; }
    if (version >= 0) wanted = null;
  };
  const keep = () => {
    if (wanted) return;
    const { bpm, own } = data.tempos[state.tempo];
    try { sessionStorage.setItem(KEY, JSON.stringify({ tempo: bpm, version: data.variants[state.version].name, bars: state.bars, own: Boolean(own) })); } catch { /* A browser that keeps nothing begins anew. */ }
  };
  const before = read();
  if (before !== null && typeof before === 'object') {
    wanted = { ...before };
    find();
  }
  // What was not there is looked for once more, when all of the patch is.
  live.onTaken(() => { if (wanted) { find(); wanted = null; } });
  page.changed.push(keep);
  keep();
  return { keep };
})();

// The tempo by a slider and by tapping: the nearest one that the patch has is heard, and another can be added to it.
import { desk } from './desk.mjs';
import { keys } from './keys.mjs';
import { live } from './live.mjs';
import { roundTempo, tapped, tempoOf } from './taps.mjs';

/** What the slider reaches, in beats a minute. */
const SLOWEST = 30, FASTEST = 300;

export const tempoDesk = (() => {
  const $ = (id) => document.getElementById(id);
  const { page } = live, { data, state } = page;
  const slide = $('tempo-slide');
  let run = [], wanted = null;
  const toPlace = (bpm) => Math.round(1000 * Math.log(Math.min(FASTEST, Math.max(SLOWEST, bpm)) / SLOWEST) / Math.log(FASTEST / SLOWEST));
  const fromPlace = (place) => Math.round(SLOWEST * (FASTEST / SLOWEST) ** (place / 1000));
  const bpmOf = (n) => Number(data.tempos[n].bpm);
  const nearest = (bpm) => data.tempos.reduce((best, _, n) => (Math.abs(Math.log(bpmOf(n) / bpm)) < Math.abs(Math.log(bpmOf(best) / bpm)) ? n : best), 0);
  const show = () => {
    const own = bpmOf(state.tempo), bpm = wanted ?? own;
    if (document.activeElement !== slide || wanted === null) slide.value = String(toPlace(bpm));
    slide.setAttribute('aria-valuetext', `${bpm}`);
    $('tempo-says').textContent = bpm === own ? `${own}` : `${bpm}; heard is ${own}`;
    const other = wanted !== null && !data.tempos.some((_, n) => bpmOf(n) === wanted);
    $('tempo-add').hidden = !other;
    $('tempo-add').textContent = other ? `Add ${wanted} to the tempos` : '';
  };
  const go = (bpm) => {
    wanted = bpm;
    const n = nearest(bpm);
    if (n !== state.tempo) page.player.tempo(n); else show();
  };
  slide.addEventListener('input', () => go(fromPlace(Number(slide.value))));
  slide.addEventListener('keydown', (event) => {
    const by = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1, PageUp: 10, PageDown: -10 }[event.key];
    if (!by || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    go(Math.min(FASTEST, Math.max(SLOWEST, Math.round(wanted ?? bpmOf(state.tempo)) + by)));
    slide.value = String(toPlace(wanted));
  });
  const tap = (at) => {
    run = tapped(run, at);
    const bpm = tempoOf(run);
    if (bpm === null) { $('tempo-says').textContent = 'tap again'; return; }
    go(roundTempo(bpm, run.length));
  };
  $('tempo-tap').addEventListener('pointerdown', (event) => tap(event.timeStamp));
  // A key or a screen reader presses without a pointer.
  $('tempo-tap').addEventListener('click', (event) => { if (event.detail === 0) tap(event.timeStamp); });
  document.addEventListener('keydown', (event) => {
    if (event.key.toLowerCase() !== 'm' || event.repeat || event.shiftKey || !keys.act(event)) return;
    event.preventDefault();
    tap(event.timeStamp);
  });
  $('tempo-add').addEventListener('click', () => {
    const all = [...data.tempos.map((_, n) => bpmOf(n)), wanted].sort((a, b) => a - b);
    desk.edit([{ do: 'set', at: ['tempos'], to: all }]);
    slide.focus();
  });
  page.changed.push(show);
  // A tempo that was asked for is there now: it is heard.
  live.onTaken(() => {
    const n = wanted === null ? -1 : data.tempos.findIndex((_, k) => bpmOf(k) === wanted);
    if (n >= 0 && n !== state.tempo) page.player.tempo(n);
    if (n >= 0) wanted = null;
    show();
  });
  desk.onShown(() => { $('desk-tempo').hidden = false; });
  show();
  return { tap };
})();

// The tempo by a slider and by tapping: any is heard, and one that the patch has not is the page's alone until it is written into it.
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
  /** `wanted` is asked for and not heard yet. */
  let run = [], wanted = null, under = null;
  const toPlace = (bpm) => Math.round(1000 * Math.log(Math.min(FASTEST, Math.max(SLOWEST, bpm)) / SLOWEST) / Math.log(FASTEST / SLOWEST));
  const fromPlace = (place) => Math.round(SLOWEST * (FASTEST / SLOWEST) ** (place / 1000));
  const bpmOf = (n) => Number(data.tempos[n].bpm);
  const listed = () => data.tempos.filter((tempo) => !tempo.own).map(({ bpm }) => Number(bpm));
  const problem = (words) => { if ($('tempo-problem').textContent !== words) $('tempo-problem').textContent = words; };
  const show = () => {
    const heard = bpmOf(state.tempo), bpm = wanted ?? heard, own = Boolean(data.tempos[state.tempo].own);
    if (document.activeElement !== slide || wanted === null) slide.value = String(toPlace(bpm));
    slide.setAttribute('aria-valuetext', `${bpm}`);
    $('tempo-says').textContent = wanted !== null ? `${wanted} …` : own ? `${heard}, on this page alone` : `${heard}`;
    $('tempo-add').hidden = !own;
    $('tempo-add').textContent = own ? `Write ${heard} into the patch` : '';
  };

  /** Has what is wanted made and heard: one at a time, and of several the last. */
  const fetched = async () => {
    if (under !== null || wanted === null) return;
    under = wanted;
    try {
      const answer = await fetch(`/near?${new URLSearchParams({ tempo: String(under) })}`, { cache: 'no-store' });
      const told = await answer.json();
      if (wanted === under) {
        if (answer.ok) {
          problem('');
          wanted = null;
          // What has changed meanwhile brings its own.
          if (await live.near(told.near, told.of, true) === null) wanted = under;
        } else {
          problem(told.says.split('\n')[0].replace(/^error: /, ''));
          wanted = null;
          leave();
        }
      }
    } catch { live.lost(); wanted = null; }
    const again = wanted !== null && wanted !== under;
    under = null;
    show();
    if (again) fetched();
  };
  /** From a tempo that cannot be heard any more to the nearest of the patch's. */
  const leave = () => {
    if (!data.tempos[state.tempo].own || !live.ownIsOld()) return;
    const bpm = bpmOf(state.tempo), off = (one) => Math.abs(Math.log(one / bpm));
    const near = listed().reduce((best, one) => (off(one) < off(best) ? one : best));
    page.player.tempo(data.tempos.findIndex((_, n) => bpmOf(n) === near));
  };
  const go = (bpm) => {
    const n = data.tempos.findIndex((tempo, k) => bpmOf(k) === bpm && !(tempo.own && live.ownIsOld()));
    wanted = n < 0 ? bpm : null;
    problem('');
    if (n >= 0 && n !== state.tempo) page.player.tempo(n);
    show();
    fetched();
  };
  slide.addEventListener('input', () => go(fromPlace(Number(slide.value))));
  slide.addEventListener('keydown', (event) => {
    const by = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1, PageUp: 10, PageDown: -10 }[event.key];
    if (!by || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    const next = Math.min(FASTEST, Math.max(SLOWEST, Math.round(wanted ?? bpmOf(state.tempo)) + by));
    go(next);
    slide.value = String(toPlace(next));
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
    const all = [...listed(), bpmOf(state.tempo)].sort((a, b) => a - b);
    desk.edit([{ do: 'set', at: ['tempos'], to: all }]);
    slide.focus();
  });
  /** The patch has changed elsewhere: what is heard of it at the page's own tempo follows. */
  const follow = () => {
    if (wanted === null && live.ownIsOld() && data.tempos[state.tempo].own) wanted = bpmOf(state.tempo);
    show();
    fetched();
  };
  page.changed.push(follow);
  live.onTaken(follow);
  desk.onShown((now) => {
    $('desk-tempo').hidden = false;
    $('to-gallery').hidden = !now.gallery;
  });
  show();
  return { tap, go };
})();

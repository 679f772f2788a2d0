// The player: what plays, and what is said of it.
import { called } from './called.mjs';
import { goesOn } from './carry.mjs';
import { level } from './level.mjs';
import { sound } from './sound.mjs';

/** So soon after a change the new loop begins, in seconds: a few blocks of what a machine mixes at once. */
const SOON = 0.025;
/** A first piece of it lasts so long, in seconds, and the whole is mixed meanwhile: twice over, if need be. */
const PIECE = 1, SPARE = 2;
/** The rest waits so long, so that the first piece has begun; and what is loud is looked at when nobody turns anything. */
const AFTER_MS = 60, QUIET_MS = 400, SLICE_MS = 6;

export const makePlayer = ({ root, $, data, state, cell, framesOf, nameOf, loop, mixed, piece, allLoops, text, say, changed, tell, edition }) => {
  /** Whether what sounds is the player's, and not the blind test's. */
  let on = false;

  /** A bar of what sounds, in seconds. */
  let bar = 0;
  /** What was asked for last: only that begins. */
  let asked = 0;
  /** The loops that sound, or are about to, by their names; and how long a second of a loop is mixed, in seconds. */
  let set = [], pace = 0;
  /** Begins at a place, in bars, that is asked for when all is mixed: what sounds goes on until then. */
  const start = async (place) => {
    if (root.closest('[data-folded]')) return;
    say('one moment');
    asked += 1;
    const mine = asked, of = edition();
    await new Promise((done) => setTimeout(done, 0));
    if (mine !== asked) return;
    const [tempo, bars] = [state.tempo, state.bars];
    const loops = allLoops(tempo, bars);
    // What takes its time comes before the place is asked for.
    level.stand(loops, data.rate);
    const from = place() % bars;
    bar = data.tempos[tempo].barMs / 1000;
    set = data.variants.map((_, n) => nameOf(tempo, n, bars));
    if (!level.checked()) say('first the level');
    if (!(await sound.play(loops, data.rate, state.version, from * bar))) {
      if (mine === asked && !on) say('stopped');
      return;
    }
    // While the level was being found another may have been chosen.
    if (tempo !== state.tempo || bars !== state.bars) { await start(place); return; }
    sound.choose(state.version);
    on = true;
    shown();
    if (of !== edition()) renew();
    say(`playing ${called.of(data.variants[state.version].name)} at ${data.tempos[state.tempo].bpm}`);
  };
  /** What sounds goes on with what the patch has become, at the same place of the bar: the version at hand by a first piece of its loop, if that
   * is not mixed yet. All else is mixed while it sounds. */
  const renew = () => {
    if (!on) return;
    const before = bar, [tempo, bars] = [state.tempo, state.bars], { rate } = data;
    bar = data.tempos[tempo].barMs / 1000;
    const names = data.variants.map((_, n) => nameOf(tempo, n, bars));
    // What has been heard at once already is not begun anew.
    if (before === bar && names.join('\n') === set.join('\n')) {
      // They are kept on.
      names.forEach((name, n) => { if (mixed(name)) loop(tempo, n, bars, name); });
      sound.choose(state.version);
      return;
    }
    set = names;
    const own = state.version, carry = (place) => goesOn(place, before, bar, bars);
    const within = (samples) => Math.min(sound.factor(), level.most(samples));
    const mix = (seconds) => (from) => {
      const since = performance.now(), samples = piece(tempo, own, bars, from, Math.round(seconds * rate));
      pace = (performance.now() - since) / 1000 / seconds;
      return samples;
    };
    if (mixed(names[own])) {
      const samples = loop(tempo, own, bars, names[own]);
      sound.swap(names.map((_, n) => (n === own ? samples : null)), rate, own, carry, { factor: within(samples), lead: SOON });
    } else {
      const first = (from) => { const samples = mix(PIECE)(from); return { samples, factor: within(samples) }; };
      sound.swapSoon(names.length, rate, own, framesOf(tempo, bars), carry, first, SOON);
    }
    const still = (next) => () => { if (on && set === names) next(); };
    const fill = () => {
      const [next] = sound.missing(), left = sound.left(), whole = pace * bars * bar * SPARE;
      if (next === undefined) { setTimeout(still(() => measure(all())), QUIET_MS); return; }
      // A piece that would be over too soon is followed by a longer one.
      if (left !== null && left < whole) sound.extend(rate, mix(whole + PIECE));
      const samples = loop(tempo, next, bars, names[next]);
      sound.fill(next, samples, rate, next === sound.chosen() ? within(samples) : undefined);
      setTimeout(still(fill), 0);
    };
    // Nobody waits for what is loud: it is looked at between all else, a slice at a time.
    const all = function* all() { for (let n = 0; n < names.length; n += 1) yield* level.measuring(loop(tempo, n, bars, names[n]), rate); };
    const measure = (steps) => {
      const until = performance.now() + SLICE_MS;
      let step = steps.next();
      while (!step.done && performance.now() < until) step = steps.next();
      if (step.done) sound.restand(allLoops(tempo, bars), rate); else setTimeout(still(() => measure(steps)), 0);
    };
    setTimeout(still(fill), AFTER_MS);
  };
  const shown = () => {
    $('play').textContent = on ? 'Stop' : 'Play';
    root.toggleAttribute('data-sounds', on);
  };
  const stop = () => {
    sound.stop();
    asked += 1;
    on = false;
    shown();
    say('stopped');
  };
  const toggle = () => (on ? stop() : start(() => 0));

  const show = () => {
    const now = cell(), tempo = data.tempos[state.tempo];
    const { name, about } = data.variants[state.version];
    text('now-version', called.of(name));
    text('now-tempo', `at ${tempo.bpm}`);
    text('now-about', about ?? '');
    text('now-gap', now.gap);
    text('now-band', now.band ? `${now.band}: ${now.heard}` : '');
    const one = { nobody: 'Everybody is on the one.', '': '' }[now.misses];
    text('now-one', one === undefined ? `Off the one: ${now.misses}.` : one);
    const wide = now.gapMs !== null && Math.abs(now.gapMs) > Number(data.maxGap);
    const said = `${now.passes ? 'Passes' : 'Does not pass'}: ${wide ? 'more than' : 'within'} the max gap of ${data.maxGap} ms${now.passes || wide ? '' : ', but not all that is asked'}.`;
    text('now-verdict', now.misses ? said : now.passes ? '' : `Over ${data.maxGap} ms, the smallest published figure for telling two sounds from one.`);
    root.querySelectorAll('[data-timing]').forEach((figure) => { figure.hidden = figure.dataset.timing !== `${state.tempo}/${state.version}`; });
    root.querySelectorAll('[data-tempo-mark]').forEach((mark) => mark.classList.toggle('chosen', mark.dataset.tempoMark === tempo.bpm));
    text('made', tempo.note ?? '');
    $('made').hidden = tempo.note === null;
    $('bars').value = String(state.bars);
  };
  changed.push(show);

  const version = (n) => {
    if (n < 0 || n >= data.variants.length) return;
    if (cell(state.tempo, n) === null) { say(`${data.variants[n].name} is not made at ${data.tempos[state.tempo].bpm}`); return; }
    state.version = n;
    if (on && sound.missing().includes(n)) sound.fill(n, loop(state.tempo, n, state.bars), data.rate);
    if (on) sound.choose(n);
    if (on) say(`playing ${called.of(data.variants[n].name)}`);
    tell();
  };
  /** The next version that is made, or the one before. */
  const beside = (by) => {
    const count = data.variants.length;
    let n = state.version;
    do n = (n + by + count) % count; while (cell(state.tempo, n) === null);
    version(n);
  };
  /** Another tempo or loop goes on at the same place of the music, with the last version before this one that is made there. */
  const tempo = (n, bars = state.bars) => {
    if (n < 0 || n >= data.tempos.length) return;
    [state.tempo, state.bars] = [n, bars];
    while (cell() === null) state.version -= 1;
    if (on) start(() => (on ? sound.position() / bar : 0));
    tell();
  };
  /** A version at a tempo: what sounds goes on there. */
  const select = (t, v) => {
    if (t === state.tempo) { version(v); return; }
    state.version = v;
    tempo(t);
  };

  $('version').addEventListener('change', () => version(Number($('version').value)));
  $('tempo').addEventListener('change', () => tempo(Number($('tempo').value)));
  $('play').addEventListener('click', toggle);
  $('bars').addEventListener('change', () => tempo(state.tempo, Number($('bars').value)));
  const louder = (by) => { level.set(level.db() + by); };
  const longer = (by) => {
    const all = [...$('bars').options].map((option) => Number(option.value));
    const next = all[all.indexOf(state.bars) + by];
    if (next) tempo(state.tempo, next);
  };
  return { start, stop, renew, toggle, version, beside, tempo, select, louder, longer, sounding: () => on };
};

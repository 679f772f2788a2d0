// The player: what plays, and what is said of it.
import { called } from './called.mjs';
import { goesOn } from './carry.mjs';
import { level } from './level.mjs';
import { sound } from './sound.mjs';

/** So soon after a change the new loop begins, in seconds: a few blocks of what a machine mixes at once. */
const SOON = 0.025;
/** Other versions wait so long, so that the one at hand has begun before the next is mixed. */
const AFTER_MS = 60;

export const makePlayer = ({ root, $, data, state, cell, loop, allLoops, text, say, changed, tell, edition }) => {
  /** Whether what sounds is the player's, and not the blind test's. */
  let on = false;

  /** A bar of what sounds, in seconds. */
  let bar = 0;
  /** What was asked for last: only that begins. */
  let asked = 0;
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
    bar = data.tempos[state.tempo].barMs / 1000;
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
  /** What sounds goes on with what the patch has become, at the same place of the bar. */
  const renew = () => {
    if (!on) return;
    const before = bar;
    bar = data.tempos[state.tempo].barMs / 1000;
    const loops = allLoops(state.tempo, state.bars);
    // What has been heard at once already is not begun anew.
    if (before === bar && sound.plays(loops)) { sound.choose(state.version); sound.restand(loops, data.rate); return; }
    sound.swap(loops, data.rate, state.version, (place) => goesOn(place, before, bar, state.bars));
  };
  /** The same at once, after a change of the tempo at hand: the version at hand is mixed and sounds; the others are mixed while it does. */
  const renewSoon = () => {
    if (!on) return;
    const before = bar, of = edition();
    const [tempo, bars] = [state.tempo, state.bars];
    bar = data.tempos[tempo].barMs / 1000;
    const loops = data.variants.map((_, n) => (n === state.version ? loop(tempo, n, bars) : null));
    const factor = Math.min(sound.factor(), level.most(loops[state.version]));
    sound.swap(loops, data.rate, state.version, (place) => goesOn(place, before, bar, bars), { factor, lead: SOON });
    const rest = () => {
      if (!on || of !== edition() || tempo !== state.tempo || bars !== state.bars) return;
      const [next] = sound.missing();
      if (next === undefined) { sound.restand(allLoops(tempo, bars), data.rate); return; }
      sound.fill(next, loop(tempo, next, bars), data.rate);
      setTimeout(rest, 0);
    };
    setTimeout(rest, AFTER_MS);
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
  return { start, stop, renew, renewSoon, toggle, version, beside, tempo, select, louder, longer, sounding: () => on };
};

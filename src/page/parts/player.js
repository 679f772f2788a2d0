// The player: tempo, version, loop, level.
const player = (() => {
  const radios = (name) => [...root.querySelectorAll(`input[name="${prefix}${name}"]`)];
  const busy = (words) => { say(words); };

  const start = async (offset) => {
    busy('one moment');
    await new Promise((done) => setTimeout(done, 0));
    await sound.play(allLoops(state.tempo, state.bars), data.rate, state.version, offset);
    $('play').textContent = 'Stop';
    $('play').setAttribute('aria-pressed', 'true');
    say(`playing ${data.variants[state.version].name} at ${data.tempos[state.tempo].bpm}`);
  };
  const stop = () => {
    sound.stop();
    $('play').textContent = 'Play';
    $('play').setAttribute('aria-pressed', 'false');
    say('stopped');
  };
  const toggle = () => (sound.playing() ? stop() : start(0));

  const show = () => {
    const now = cell(), tempo = data.tempos[state.tempo];
    text('now-version', data.variants[state.version].about ? `${data.variants[state.version].name} — ${data.variants[state.version].about}` : data.variants[state.version].name);
    text('now-tempo', `at ${tempo.bpm}`);
    text('now-gap', now.gap);
    text('now-band', now.band ? `${now.band}: ${now.heard}` : '');
    const one = { nobody: 'Everybody is on the one.', '': '' }[now.misses];
    text('now-one', one === undefined ? `Off the one: ${now.misses}.` : one);
    text('now-verdict', now.passes ? (now.misses ? `Within the max gap of ${data.maxGap} ms.` : '') : now.misses ? `Not within the max gap of ${data.maxGap} ms, or not on the one.` : `Over ${data.maxGap} ms, the smallest published figure for telling two sounds from one.`);
    root.querySelectorAll('[data-timing]').forEach((figure) => { figure.hidden = figure.dataset.timing !== `${state.tempo}/${state.version}`; });
    root.querySelectorAll('[data-tempo-mark]').forEach((mark) => mark.classList.toggle('chosen', mark.dataset.tempoMark === tempo.bpm));
    radios('tempo').forEach((radio, n) => { radio.checked = n === state.tempo; });
    radios('version').forEach((radio, n) => { radio.checked = n === state.version; });
    $('bars').value = String(state.bars);
  };
  changed.push(show);

  const version = (n) => {
    if (n < 0 || n >= data.variants.length) return;
    state.version = n;
    sound.choose(n);
    if (sound.playing()) say(`playing ${data.variants[n].name}`);
    tell();
  };
  /** Another tempo or loop goes on at the same place of the music. */
  const tempo = (n, bars = state.bars) => {
    if (n < 0 || n >= data.tempos.length) return;
    const at = sound.position();
    const beat = at === null ? 0 : at / (data.tempos[state.tempo].barMs / 1000);
    [state.tempo, state.bars] = [n, bars];
    if (sound.playing()) start((beat % bars) * (data.tempos[n].barMs / 1000));
    tell();
  };

  radios('tempo').forEach((radio, n) => radio.addEventListener('change', () => tempo(n)));
  radios('version').forEach((radio, n) => radio.addEventListener('change', () => version(n)));
  $('play').addEventListener('click', toggle);
  $('bars').addEventListener('change', () => tempo(state.tempo, Number($('bars').value)));
  /** Sets the level, or tells it. */
  const level = (db = Number($('level').value)) => {
    $('level').value = String(db);
    sound.setLevel(db <= -60 ? 0 : Math.pow(10, db / 20));
    $('level').setAttribute('aria-valuetext', db <= -60 ? 'silent' : `${db} decibels`);
    text('level-says', db <= -60 ? 'silent' : `${db} dB`);
    return db;
  };
  $('level').addEventListener('input', () => level());
  level();
  return { start, stop, toggle, version, tempo, level };
})();

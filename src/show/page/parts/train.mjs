// A session: what is asked next, what was answered, and a copy of it kept in the browser until it is saved.
import { chance } from './chance.mjs';
import { engine } from './engine.mjs';
import { staircase } from './staircase.mjs';
import { makeTrial } from './trial.mjs';

const data = JSON.parse(document.getElementById('data').textContent);
const voices = data.masters.map(engine.decode);
const trial = makeTrial(data, voices);
const $ = (id) => document.getElementById(id);
const text = (id, words) => { $(id).textContent = words; };
const say = (words) => text('said', words);
const show = (...ids) => ['setup', 'trial', 'rest', 'done'].forEach((id) => { $(id).hidden = !ids.includes(id); });

const output = (() => {
  let context = null, gain = null, level = 0.1, source = null;
  const open = () => {
    if (!context) {
      context = new AudioContext({ sampleRate: data.rate });
      gain = context.createGain();
      gain.gain.value = level;
      gain.connect(context.destination);
    }
    return context;
  };
  const stop = () => { if (source) { source.onended = null; source.stop(); source = null; } };
  /** Plays samples once; `ended` is called when they are over. */
  const play = async (samples, ended) => {
    const on = open();
    if (on.state === 'suspended') await on.resume();
    stop();
    const buffer = on.createBuffer(1, samples.length, data.rate);
    buffer.copyToChannel(samples, 0);
    source = on.createBufferSource();
    source.buffer = buffer;
    source.connect(gain);
    source.onended = () => { source = null; ended(); };
    source.start(on.currentTime + 0.03);
  };
  const setLevel = (to) => { level = to; if (gain) gain.gain.setTargetAtTime(to, context.currentTime, 0.02); };
  return { play, stop, setLevel };
})();

const kept = (() => {
  // Opened from disk a page may have no store; then a session lasts as long as its tab.
  const key = `hitgap-training-1/${data.voices.map((v) => v.name).join('+')}/${data.tempo_bpm}${data.bar ? `/${data.bar.name}` : ''}`;
  const attempt = (act) => { try { return act(); } catch { return null; } };
  return {
    put: (session) => attempt(() => { localStorage.setItem(key, JSON.stringify(session)); return true; }) === true,
    get: () => attempt(() => JSON.parse(localStorage.getItem(key))),
    drop: () => attempt(() => localStorage.removeItem(key)),
  };
})();

const training = (() => {
  const FORMAT = 2, PRACTICE = 4, REST_EVERY = 20, CATCH_EVERY = 10;
  const QUESTIONS = {
    'two-or-one': ['Which of the three was two hits?', ['First', 'Second', 'Third']],
    'which-first': ['Which came first?', data.voices.map((v) => v.name)],
    'tight-or-loose': ['Which bar was loose?', ['First bar', 'Second bar']],
  };
  let session = null, tracks = [], now = null, practice = 0, since = 0, heard = false;

  const settings = () => session.staircase;
  const answers = () => QUESTIONS[session.task][1].length;
  const live = () => tracks.map((t, n) => [t, n]).filter(([t]) => !staircase.done(settings(), t));
  const rules = (down) => ({ down, ratio: data.ratios[down - 1], ...data.staircase });
  const whole = (x, low, high) => Number.isInteger(x) && x >= low && x <= high;

  /** The staircases of a session after its answers; null where a level is not what they ask for. */
  const replay = (of) => {
    const all = Array.from({ length: of.tracks }, () => staircase.begin(of.staircase));
    const most = QUESTIONS[of.task][1].length;
    const fits = (t) => {
      if (!t || !whole(t.track, 0, of.tracks - 1) || !whole(t.asked, 1, most) || !whole(t.answered, 1, most)) return false;
      const track = all[t.track];
      if (t.catch) return t.level === of.staircase.ceiling;
      if (t.level !== track.level || staircase.done(of.staircase, track)) return false;
      staircase.answer(of.staircase, track, t.asked === t.answered);
      return true;
    };
    return of.trials.every(fits) ? all : null;
  };

  /** The session that waits in the browser, or null: what stands there may have been cut short or written by another page. */
  const waiting = () => {
    const old = kept.get();
    // In tight or loose of an older page a voice alone was uneven: what was begun so is not gone on with otherwise.
    const sound = old && typeof old === 'object' && Object.hasOwn(QUESTIONS, old.task) && whole(old.tracks, 1, 2)
      && (old.format === FORMAT || old.task !== 'tight-or-loose')
      && Array.isArray(old.trials) && old.trials.length > 0 && old.staircase
      && JSON.stringify(old.staircase) === JSON.stringify(rules(old.staircase.down));
    return sound && replay(old) ? old : null;
  };

  const progress = () => {
    if (practice > 0) { text('progress', `Practice, ${practice} to go: after each answer you are told. Nothing of it counts.`); return; }
    const turns = tracks.reduce((sum, t) => sum + t.turns.length, 0);
    const of = session.tracks * (settings().large_turns + settings().turns);
    text('progress', `Trial ${session.trials.length + 1}. The gap has turned ${turns} times of ${of}.`);
    $('bar').max = of;
    $('bar').value = turns;
  };

  const next = () => {
    output.stop();
    heard = false;
    const asked = 1 + chance.draw(answers());
    if (practice > 0) {
      now = { track: 0, level: settings().start, asked, catch: false };
    } else {
      const open = live();
      if (!open.length) { finish(); return; }
      const catches = session.catches && (session.trials.length + 1) % CATCH_EVERY === 0;
      const [track, n] = open[chance.draw(open.length)];
      now = catches ? { track: 0, level: settings().ceiling, asked, catch: true } : { track: n, level: track.level, asked, catch: false };
    }
    show('trial');
    $('skip').hidden = practice === 0;
    buttons(false);
    text('question', QUESTIONS[session.task][0]);
    progress();
    $('hear').focus();
  };

  const buttons = (on) => {
    const names = QUESTIONS[session.task][1];
    [1, 2, 3].forEach((n) => {
      const button = $(`answer-${n}`);
      button.hidden = n > names.length;
      button.disabled = !on;
      button.textContent = `${n}: ${names[n - 1] || ''}`;
    });
    $('hear').disabled = on;
  };

  const hear = async () => {
    if (!now || heard || $('trial').hidden) return;
    heard = true;
    $('hear').disabled = true;
    say('listen');
    const samples = trial.samples(session.task, Math.pow(2, now.level / 1000000) / 1000, now.asked);
    // On no button: a Space too many must not answer.
    const over = () => { buttons(true); say(answers() === 3 ? 'answer: 1, 2 or 3' : 'answer: 1 or 2'); $('question').focus(); };
    try {
      await output.play(samples, over);
    } catch {
      heard = false;
      $('hear').disabled = false;
      say('no sound: is a sound output there, and may this page use it?');
    }
  };

  const answer = (answered) => {
    if (!now || !heard || $('trial').hidden || $('answer-1').disabled || answered > answers()) return;
    const right = answered === now.asked;
    if (practice > 0) {
      practice -= 1;
      say(right ? 'right' : `it was ${now.asked}`);
      next();
      return;
    }
    session.trials.push({ track: now.track, level: now.level, asked: now.asked, answered, catch: now.catch });
    if (!now.catch) staircase.answer(settings(), tracks[now.track], right);
    since += 1;
    text('kept', kept.put(session) ? '' : 'This browser keeps no copy: save before you close the page.');
    say('answered');
    if (live().length && since >= REST_EVERY) { since = 0; now = null; show('rest'); $('go-on').focus(); return; }
    next();
  };

  const finish = () => {
    now = null;
    output.stop();
    say('');
    show('done');
    const right = session.trials.filter((t) => t.asked === t.answered).length;
    const late = tracks.flatMap((t) => t.turns.slice(settings().large_turns));
    const percent = (100 * staircase.target(settings())).toFixed(1);
    const mean = Math.pow(2, late.reduce((sum, x) => sum + x, 0) / Math.max(1, late.length) / 1000000);
    const top = late.filter((x) => settings().ceiling - x <= 500000).length > late.length / 5;
    text('outcome', late.length >= 8 && !top
      ? `Your gap turned around ${mean.toFixed(mean < 10 ? 2 : 1)} ms, near where ${percent} % are right; ${right} of ${session.trials.length} answers were. Save it: hitgap results fits a curve and says how sure that is.`
      : `No threshold yet: ${right} of ${session.trials.length} answers were right. Save it all the same, or go on.`);
    $('more').hidden = live().length === 0;
    $('outcome').focus();
  };

  const begin = () => {
    const task = document.querySelector('input[name="task"]:checked').value;
    session = { format: FORMAT, task, tracks: Number($('tracks').value), catches: $('catches').checked, staircase: rules(Number($('rule').value)), trials: [] };
    tracks = replay(session);
    practice = PRACTICE;
    since = 0;
    next();
  };

  const resume = () => {
    const old = waiting();
    if (!old) { text('problem', 'There is no session to go on with.'); return; }
    session = old;
    tracks = replay(session);
    practice = 0;
    since = 0;
    next();
  };

  /** What `hitgap results` reads. */
  const record = () => ({
    hitgap: 'training', format: FORMAT, task: session.task, voices: data.voices.map((v) => v.name), tempo_bpm: data.tempo_bpm,
    ...(data.bar && session.task === 'tight-or-loose' ? { pattern: data.bar.name } : {}),
    saved: new Date().toISOString(), staircase: session.staircase, trials: session.trials,
  });

  const save = () => {
    const link = document.createElement('a');
    link.href = URL.createObjectURL(new Blob([`${JSON.stringify(record(), null, 2)}\n`], { type: 'application/json' }));
    link.download = `hitgap-training.${session.task}.json`;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
    if (!live().length) kept.drop();
    say('saved');
  };

  /** Offers the session that waits, if there is one. */
  const offer = () => {
    const old = waiting();
    $('resume').hidden = $('waiting').hidden = !old;
    if (old) $('resume').textContent = `Go on: ${old.task.replaceAll('-', ' ')}, ${old.trials.length} answers`;
  };
  const home = () => { output.stop(); now = null; show('setup'); offer(); $('begin').focus(); };
  const skip = () => { practice = 0; next(); };

  $('begin').addEventListener('click', begin);
  $('resume').addEventListener('click', resume);
  $('hear').addEventListener('click', hear);
  [1, 2, 3].forEach((n) => $(`answer-${n}`).addEventListener('click', () => answer(n)));
  $('stop').addEventListener('click', () => { if (session.trials.length) finish(); else home(); });
  $('skip').addEventListener('click', skip);
  $('go-on').addEventListener('click', next);
  $('rest-stop').addEventListener('click', finish);
  $('more').addEventListener('click', next);
  $('save').addEventListener('click', save);
  $('again').addEventListener('click', home);
  const level = () => {
    const db = Number($('level').value);
    output.setLevel(db <= -60 ? 0 : Math.pow(10, db / 20));
    text('level-says', db <= -60 ? 'silent' : `${db < 0 ? '−' : ''}${Math.abs(db)} dB`);
  };
  $('level').addEventListener('input', level);
  const rule = () => {
    const down = Number($('rule').value);
    text('target', `Settles where ${(100 * staircase.target({ down, ratio: data.ratios[down - 1] })).toFixed(1)} % of the answers are right.`);
  };
  $('rule').addEventListener('change', rule);
  document.addEventListener('keydown', (event) => {
    // A slider takes no letters: who has just set the level answers all the same.
    const on = (what) => event.target.matches && event.target.matches(what);
    if (event.ctrlKey || event.metaKey || event.altKey || on('select')) return;
    if (/^[123]$/.test(event.key)) { answer(Number(event.key)); event.preventDefault(); }
    if (event.key.toLowerCase() === 'p' || (event.key === ' ' && !on('button, input'))) { hear(); event.preventDefault(); }
  });
  level();
  rule();
  offer();
  return { begin, resume, hear, answer, record, skip, now: () => now, session: () => session, tracks: () => tracks };
})();
say('ready');
globalThis.hitgap = { engine, chance, staircase, trial, output, kept, training, data, voices };
document.documentElement.dataset.ready = 'true';

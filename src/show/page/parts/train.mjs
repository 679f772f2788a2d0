// A session: what is asked next, what was answered, and how it is going.
import { chance } from './chance.mjs';
import { makeCheck } from './check.mjs';
import { curve } from './curve.mjs';
import { engine } from './engine.mjs';
import { level } from './level.mjs';
import { staircase } from './staircase.mjs';
import { trace } from './trace.mjs';
import { heardFrom, makeKept } from './train-kept.mjs';
import { makeOutput } from './train-output.mjs';
import { words } from './train-words.mjs';
import { makeTrial } from './trial.mjs';

const data = JSON.parse(document.getElementById('data').textContent);
const voices = data.masters.map(engine.decode);
const trial = makeTrial(data, voices);
const output = makeOutput(data.rate);
const kept = makeKept(data);
const $ = (id) => document.getElementById(id);
const text = (id, said) => { $(id).textContent = said; };
const say = (said) => text('said', said);
const check = makeCheck({ $, text }, 'question', ['level']);

const training = (() => {
  const FORMAT = 2, PRACTICE = 4, REST_EVERY = 20, CATCH_EVERY = 10;
  // Until a session has its own figures: answers for a turn, and seconds for an answer. A pause is no answer.
  const ANSWERS_A_TURN = 5, SECONDS_AN_ANSWER = 7, PAUSE = 45;
  const names = data.voices.map((v) => v.name);
  const QUESTIONS = words.questions(names);
  let session = null, tracks = [], now = null, practice = 0, since = 0, heard = false, last = null;
  let clock = { seconds: 0, answers: 0, at: null };

  const settings = () => session.staircase;
  const answers = () => QUESTIONS[session.task][1].length;
  const live = () => tracks.map((t, n) => [t, n]).filter(([t]) => !staircase.done(settings(), t));
  const rules = (down) => ({ down, ratio: data.ratios[down - 1], ...data.staircase });
  const whole = (x, low, high) => Number.isInteger(x) && x >= low && x <= high;
  const ms = (of) => Math.pow(2, of / 1000000);

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

  /** What belongs to the view that is open. */
  const show = (open) => {
    for (const view of ['setup', 'trial', 'rest', 'done']) $(view).hidden = view !== open;
    $('going').hidden = open === 'setup';
    $('leave').hidden = open !== 'trial';
    $('skip').hidden = practice === 0;
    $('options').hidden = $('target').hidden = open !== 'setup';
    $('behind').hidden = open === 'setup';
    $('trace').closest('figure').hidden = practice > 0;
    if (open !== 'setup') going(open);
  };

  /** Seconds to the end, by this session's own pace. */
  const left = () => {
    const own = session.trials.filter((t) => !t.catch).length, turned = tracks.reduce((sum, t) => sum + t.turns.length, 0);
    const each = turned > 3 ? own / turned : ANSWERS_A_TURN, of = settings().large_turns + settings().turns;
    const open = live().reduce((sum, [t]) => sum + Math.min(settings().most_trials - t.trials, (of - t.turns.length) * each), 0);
    return open * (clock.answers > 3 ? clock.seconds / clock.answers : SECONDS_AN_ANSWER);
  };

  const right = () => session.trials.filter((t) => t.asked === t.answered).length;
  const what = () => {
    const bar = data.bar && session.task === 'tight-or-loose' ? `, in the bar of ${data.bar.name}` : '';
    return `${names.join(' and ')} at ${data.tempo_bpm}${bar}`;
  };

  /** How it is going, and what is behind it. */
  const going = (open) => {
    if (practice > 0) {
      text('progress', `Practice, ${practice} to go. Nothing of it counts.`);
      text('behind', '');
      return;
    }
    const of = trace.answers(session.trials), best = trace.best(of, settings().down);
    const so = best === null ? '' : ` Best so far: ${words.about(ms(best))} ms.`;
    text('progress', open === 'done' ? '' : `${of.length ? `Your gap is now ${words.about(ms(tracks[of[of.length - 1].track].level))} ms.` : 'Your gap begins wide.'}${so} It takes ${words.more(left())}.`);
    trace.draw($('trace'), of, settings().down, words.about);
    const late = tracks.flatMap((t) => t.turns.slice(settings().large_turns));
    const mean = late.length ? `; the mean of the last ${late.length} turns is ${words.about(ms(late.reduce((a, b) => a + b, 0) / late.length))} ms` : '';
    const plain = session.trials.filter((t) => t.catch), missed = plain.filter((t) => t.asked !== t.answered).length;
    text('behind', [
      `${session.trials.length} answers, ${right()} right.`,
      `The gap shrinks after ${settings().down} right in a row, by ${settings().ratio / 10000} of the step by which it grows after a wrong one; that settles where ${(100 * staircase.target(settings())).toFixed(1)} % are right.`,
      `It has turned ${tracks.reduce((sum, t) => sum + t.turns.length, 0)} times of ${session.tracks * (settings().large_turns + settings().turns)}${mean}.`,
      plain.length ? `Of ${plain.length} plain ones slipped in, ${missed} ${missed === 1 ? 'was' : 'were'} answered wrong.` : '',
    ].join(' '));
  };

  const next = () => {
    check.close(false);
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
    buttons(false);
    text('question', QUESTIONS[session.task][0]);
    text('hear', last ? 'Hear the next one' : 'Hear it');
    $('hear').focus();
  };

  /** The buttons for answers; the one that was pressed last says how it was, until the next is heard. */
  const buttons = (on) => {
    const said = QUESTIONS[session.task][1];
    [1, 2, 3].forEach((n) => {
      const button = $(`answer-${n}`), told = last && last.answered === n;
      button.hidden = n > said.length;
      button.disabled = !on;
      button.querySelector('.name').textContent = `${n}: ${said[n - 1] || ''}`;
      button.querySelector('.told').textContent = told ? last.told : '';
      if (told) button.dataset.right = String(last.right); else delete button.dataset.right;
    });
    $('hear').disabled = on;
  };

  const hear = async () => {
    if (!now || heard || $('trial').hidden) return;
    heard = true;
    last = null;
    buttons(false);
    $('hear').disabled = true;
    const of = now;
    const unheard = (why) => {
      heard = false;
      $('hear').disabled = false;
      say(why);
    };
    try {
      if (!level.checked()) say('first the level');
      const found = await output.find(() => trial.loudest(session.task));
      if (now !== of) return;
      if (!found) { unheard('stopped'); return; }
      say('listen');
      // On no button: a Space too many must not answer.
      const over = () => { buttons(true); say(answers() === 3 ? 'answer: 1, 2 or 3' : 'answer: 1 or 2'); $('question').focus(); };
      await output.play(trial.samples(session.task, ms(now.level) / 1000, now.asked), over);
    } catch {
      unheard('no sound: is a sound output there, and may this page use it?');
    }
  };

  /** Takes the time of an answer, but for pauses. */
  const tick = () => {
    const at = performance.now() / 1000;
    const seconds = clock.at === null ? Infinity : at - clock.at;
    clock = { at, ...(seconds < PAUSE ? { seconds: clock.seconds + seconds, answers: clock.answers + 1 } : { seconds: clock.seconds, answers: clock.answers }) };
  };

  const answer = (answered) => {
    if (!now || !heard || $('trial').hidden || $('answer-1').disabled || answered > answers()) return;
    const { asked, level: was, track } = now, told = words.feedback(session.task, names, { asked, answered, ms: ms(was) });
    last = { answered, told, right: asked === answered };
    tick();
    if (practice > 0) {
      practice -= 1;
      say(practice > 0 ? told : `${told}; now it counts`);
      next();
      return;
    }
    session.trials.push({ track, level: was, asked, answered, catch: now.catch });
    if (!now.catch) staircase.answer(settings(), tracks[track], last.right);
    since += 1;
    text('kept', kept.put(session) ? '' : 'This browser keeps no copy: save before you close the page.');
    const then = now.catch ? 'that was a plain one' : words.next(was, tracks[track].level);
    if (live().length && since >= REST_EVERY) { since = 0; now = null; last = null; show('rest'); say(`${told}; ${then}`); $('go-on').focus(); return; }
    next();
    if (now) say(`${told}; ${then}`);
  };

  const finish = () => {
    now = null;
    check.close(false);
    output.stop();
    say('');
    const [said, meaning] = words.heard(session.task, what(), curve.estimate(session, tracks, 1 / answers(), staircase.target(settings())));
    text('outcome', said);
    text('meaning', meaning);
    text('paste', `hitgap results ${file()} --save ear.toml`);
    $('more').hidden = live().length === 0;
    show('done');
    $('outcome').focus();
  };

  const start = (of, practised) => {
    session = of;
    tracks = replay(session);
    practice = practised;
    since = 0;
    last = null;
    clock = { seconds: 0, answers: 0, at: null };
    next();
  };
  const begin = () => {
    const task = document.querySelector('input[name="task"]:checked').value;
    start({ format: FORMAT, task, tracks: Number($('tracks').value), catches: $('catches').checked, staircase: rules(Number($('rule').value)), trials: [] }, PRACTICE);
  };
  const resume = () => {
    const old = waiting();
    if (old) start(old, 0); else text('problem', 'There is no session to go on with.');
  };

  /** What `hitgap results` reads. */
  const record = () => ({
    hitgap: 'training', format: FORMAT, task: session.task, voices: names, ...heardFrom(data.voices), tempo_bpm: data.tempo_bpm,
    ...(data.bar && session.task === 'tight-or-loose' ? { pattern: data.bar.name } : {}),
    saved: new Date().toISOString(), staircase: session.staircase, trials: session.trials,
  });
  const file = () => `hitgap-training.${session.task}.json`;

  const save = () => {
    const link = document.createElement('a');
    link.href = URL.createObjectURL(new Blob([`${JSON.stringify(record(), null, 2)}\n`], { type: 'application/json' }));
    link.download = file();
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
  const home = () => { check.close(false); output.stop(); now = null; show('setup'); say(''); offer(); $('begin').focus(); };
  const skip = () => { practice = 0; last = null; next(); };

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
    if (event.key.toLowerCase() === 'p' || (event.key === ' ' && !on('button, input, summary'))) { hear(); event.preventDefault(); }
  });
  level.asks({ ask: check.ask, dismiss: () => check.close(false) });
  rule();
  show('setup');
  offer();
  return { begin, resume, hear, answer, record, skip, now: () => now, session: () => session, tracks: () => tracks };
})();
globalThis.hitgap = { engine, level, chance, staircase, trial, output, kept, training, data, voices };
document.documentElement.dataset.ready = 'true';

// A session: what is asked next, what was answered, and how it is going.
import { chance } from './chance.mjs';
import { makeCheck } from './check.mjs';
import { curve } from './curve.mjs';
import { engine } from './engine.mjs';
import { level } from './level.mjs';
import { psi } from './psi.mjs';
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
  const FORMAT = 2, FORMAT_PSI = 3, PRACTICE = 4, REST_EVERY = 20;
  // Staircases learn nothing from plain ones; where every answer tells, they are fewer.
  const CATCH_EVERY = { staircase: 10, psi: 20 };
  // Until a session has its own figures: answers for a turn, and seconds for an answer. A pause is no answer.
  const ANSWERS_A_TURN = 5, SECONDS_AN_ANSWER = 7, PAUSE = 45;
  const names = data.voices.map((v) => v.name);
  const QUESTIONS = words.questions(names);
  let session = null, tracks = [], now = null, practice = 0, since = 0, heard = false, last = null;
  let clock = { seconds: 0, answers: 0, at: null };

  const by = (of) => (of.psi ? 'psi' : 'staircase');
  const settings = () => session[by(session)];
  const answers = () => QUESTIONS[session.task][1].length;
  const done = (of, t) => (of.psi ? psi.done(of.psi, t) : staircase.done(of.staircase, t));
  const target = () => (session.psi ? psi.target(session.psi) : staircase.target(session.staircase));
  const live = () => tracks.map((t, n) => [t, n]).filter(([t]) => !done(session, t));
  const take = (of, t, at, right, plain) => {
    if (of.psi) psi.answer(of.psi, t, at, right); else if (!plain) staircase.answer(of.staircase, t, right);
  };
  const rules = (down) => ({ down, ratio: data.ratios[down - 1], ...data.staircase });
  const whole = (x, low, high) => Number.isInteger(x) && x >= low && x <= high;
  const ms = (of) => Math.pow(2, of / 1000000);

  /** The staircases of a session after its answers; null where a level is not what they ask for. */
  const replay = (of) => {
    const most = QUESTIONS[of.task][1].length;
    const all = Array.from({ length: of.tracks }, () => (of.psi ? psi.begin(of.psi, 1 / most) : staircase.begin(of.staircase)));
    const fits = (t) => {
      if (!t || !whole(t.track, 0, of.tracks - 1) || !whole(t.asked, 1, most) || !whole(t.answered, 1, most)) return false;
      const track = all[t.track];
      if (t.level !== (t.catch ? of[by(of)].ceiling : track.level) || ((of.psi || !t.catch) && done(of, track))) return false;
      take(of, track, t.level, t.asked === t.answered, t.catch);
      return true;
    };
    return of.trials.every(fits) ? all : null;
  };

  /** Whether a session is walked by settings of this page. */
  const known = (old) => (old.psi
    ? !old.staircase && old.format === FORMAT_PSI && old.tracks === 1 && JSON.stringify(old.psi) === JSON.stringify(data.psi)
    : old.staircase && JSON.stringify(old.staircase) === JSON.stringify(rules(old.staircase.down)));

  /** The session that waits in the browser, or null: what stands there may have been cut short or written by another page. */
  const waiting = () => {
    const old = kept.get();
    // In tight or loose of an older page a voice alone was uneven: what was begun so is not gone on with otherwise.
    const sound = old && typeof old === 'object' && Object.hasOwn(QUESTIONS, old.task) && whole(old.tracks, 1, 2)
      && (old.format === FORMAT || old.format === FORMAT_PSI || old.task !== 'tight-or-loose')
      && Array.isArray(old.trials) && old.trials.length > 0 && known(old);
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
    const pace = clock.answers > 3 ? clock.seconds / clock.answers : SECONDS_AN_ANSWER;
    if (session.psi) return psi.left(settings(), tracks[0]) * pace;
    const own = session.trials.filter((t) => !t.catch).length, turned = tracks.reduce((sum, t) => sum + t.turns.length, 0);
    const each = turned > 3 ? own / turned : ANSWERS_A_TURN, of = settings().large_turns + settings().turns;
    const open = live().reduce((sum, [t]) => sum + Math.min(settings().most_trials - t.trials, (of - t.turns.length) * each), 0);
    return open * pace;
  };

  const right = () => session.trials.filter((t) => t.asked === t.answered).length;
  const what = () => {
    const bar = data.bar && session.task === 'tight-or-loose' ? `, in the bar of ${data.bar.name}` : '';
    return `${names.join(' and ')} at ${data.tempo_bpm}${bar}`;
  };

  const percent = () => `${(100 * target()).toFixed(1)} %`;
  /** What is behind staircases. */
  const turning = () => {
    const late = tracks.flatMap((t) => t.turns.slice(settings().large_turns));
    const mean = late.length ? `; the mean of the last ${late.length} turns is ${words.about(ms(late.reduce((a, b) => a + b, 0) / late.length))} ms` : '';
    return [
      `The gap shrinks after ${settings().down} right in a row, by ${settings().ratio / 10000} of the step by which it grows after a wrong one; that settles where ${percent()} are right.`,
      `It has turned ${tracks.reduce((sum, t) => sum + t.turns.length, 0)} times of ${session.tracks * (settings().large_turns + settings().turns)}${mean}.`,
    ].join(' ');
  };
  /** What is behind gaps that are asked for where the answer tells most. */
  const asking = () => {
    const { least_trials: least, most_trials: most, narrow } = settings();
    return `Each gap is asked for where the answer tells most of the one at which ${percent()} are right. It ends, from ${least} answers on, once that is known to within × ${words.about(ms(narrow))}, and after ${most} in any case.`;
  };

  /** How it is going, and what is behind it. */
  const going = (open) => {
    if (practice > 0) {
      text('progress', `Practice, ${practice} to go. Nothing of it counts.`);
      text('behind', '');
      return;
    }
    const of = trace.answers(session.trials), down = session.psi ? Infinity : settings().down, best = trace.best(of, down);
    const by = session.psi ? words.likely(psi.estimate(settings(), tracks[0])) : best === null ? '' : `Best so far: ${words.about(ms(best))} ms.`;
    const now = of.length ? `Your gap is now ${words.about(ms(tracks[of[of.length - 1].track].level))} ms.` : 'Your gap begins wide.';
    text('progress', open === 'done' ? '' : [now, by, `It takes ${words.more(left())}.`].filter(Boolean).join(' '));
    trace.draw($('trace'), of, down, words.about);
    const plain = session.trials.filter((t) => t.catch), missed = plain.filter((t) => t.asked !== t.answered).length;
    text('behind', [
      `${session.trials.length} answers, ${right()} right.`,
      session.psi ? asking() : turning(),
      plain.length ? `Of ${plain.length} plain ones slipped in, ${missed} ${missed === 1 ? 'was' : 'were'} answered wrong.` : '',
    ].join(' '));
  };

  const next = () => {
    check.close(false);
    output.stop();
    heard = false;
    const asked = 1 + chance.draw(answers());
    if (practice > 0) {
      now = { track: 0, level: data.staircase.start, asked, catch: false };
    } else {
      const open = live();
      if (!open.length) { finish(); return; }
      const catches = session.catches && (session.trials.length + 1) % CATCH_EVERY[by(session)] === 0;
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
    take(session, tracks[track], was, last.right, now.catch);
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
    const [said, meaning] = words.heard(session.task, what(), session.psi
      ? psi.estimate(settings(), tracks[0]) : curve.estimate(session, tracks, 1 / answers(), target()));
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
    const catches = $('catches').checked;
    start($('procedure').value === 'staircase'
      ? { format: FORMAT, task, tracks: Number($('tracks').value), catches, staircase: rules(Number($('rule').value)), trials: [] }
      : { format: FORMAT_PSI, task, tracks: 1, catches, psi: data.psi, trials: [] }, PRACTICE);
  };
  const resume = () => {
    const old = waiting();
    if (old) start(old, 0); else text('problem', 'There is no session to go on with.');
  };

  /** What `hitgap results` reads. */
  const record = () => ({
    hitgap: 'training', format: session.psi ? FORMAT_PSI : FORMAT, task: session.task, voices: names, ...heardFrom(data.voices), tempo_bpm: data.tempo_bpm,
    ...(data.bar && session.task === 'tight-or-loose' ? { pattern: data.bar.name } : {}),
    saved: new Date().toISOString(), [by(session)]: settings(), trials: session.trials,
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
    const down = Number($('rule').value), staircases = $('procedure').value === 'staircase';
    $('rule').disabled = $('tracks').disabled = !staircases;
    text('target', !staircases ? `Each gap is asked for where the answer tells most of the one at which ${(100 * psi.target(data.psi)).toFixed(1)} % of the answers are right.` : `Settles where ${(100 * staircase.target({ down, ratio: data.ratios[down - 1] })).toFixed(1)} % of the answers are right.`);
  };
  $('procedure').value = data.procedure;
  $('procedure').addEventListener('change', rule);
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
globalThis.hitgap = { engine, level, chance, staircase, psi, trial, output, kept, training, data, voices };
document.documentElement.dataset.ready = 'true';

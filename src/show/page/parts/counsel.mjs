// Which part helps, and where: the least that mends the whole rig, or what `advise` says of one input; each to be tried and kept with a click.
import { makeCures } from './cures.mjs';
import { desk } from './desk.mjs';
import { freeName, inputsOf, saidInput, withStage } from './inputs.mjs';
import { live } from './live.mjs';
import { make } from './make.mjs';

/** What has changed since an answer. */
const STALE = 'The rig has changed since: what stands here is of before. Ask again.';

/** A question that is asked of the program: the last counts, and one that is given up is worked at no more. */
const makeQuestion = (state, { begins, ends, told }) => {
  let waits = null, of = null, same = false;
  const stop = () => { waits?.abort(); waits = null; ends(); };
  const ask = async (path, words) => {
    stop();
    const mine = new AbortController();
    waits = mine;
    state.textContent = words;
    begins();
    try {
      const answer = await fetch(path, { signal: mine.signal, cache: 'no-store' });
      const given = await answer.json();
      if (waits !== mine) return;
      state.textContent = answer.ok ? '' : given.says;
      if (answer.ok) { of = given.of; told(given); }
    } catch (error) {
      if (error.name !== 'AbortError') state.textContent = 'The program did not answer.';
    }
    if (waits !== mine) return;
    waits = null;
    ends();
    mark();
  };
  /** Says of an answer that it is of before. */
  const mark = () => {
    // A fix more leaves the patch itself as it was.
    if (same && of !== null && of !== desk.now().revision) [of, same] = [desk.now().revision, false];
    const old = of !== null && waits === null && desk.now() && of !== desk.now().revision;
    if (old) state.textContent = [state.textContent.replace(STALE, '').trim(), STALE].filter(Boolean).join(' ');
  };
  return { ask, mark, still: () => { same = of !== null && of === desk.now().revision; }, stop: () => { stop(); state.textContent = 'Stopped.'; } };
};

export const counsel = (() => {
  const $ = (id) => document.getElementById(id);
  const section = $('counsel'), choice = $('counsel-on'), parts = $('counsel-parts'), says = $('counsel-says');
  const all = $('counsel-all'), hear = $('counsel-hear'), leave = $('counsel-leave'), heard = $('counsel-heard');
  const nothing = () => {};
  let input = null;

  const one = makeQuestion($('counsel-state'), {
    begins: nothing, ends: nothing,
    told: (advice) => {
      says.textContent = advice.says;
      $('counsel-lead').textContent = advice.lead;
      $('counsel-window').replaceChildren(live.markup(advice.window));
      const on = advice.on;
      parts.replaceChildren(...advice.parts.map((part) => make('li', { 'data-fits': String(part.fits) },
        make('span', {}, make('b', {}, part.name), ' ', make('span', { class: 'about' }, [part.does, part.price].filter(Boolean).join(', '))),
        part.stage ? acts(part.name, () => cureOf(part, on), () => desk.fix()) : null)));
      input = { on, ...(desk.fix() ? { version: desk.fix() } : {}) };
      all.hidden = advice.parts.length === 0 && leave.hidden;
      $('counsel-answer').hidden = false;
    },
  });
  /** A part at an input: a stage more at the end of its path. */
  const cureOf = (part, on) => {
    const now = desk.now(), word = inputsOf(now.words).get(on);
    const taken = new Set(now.sentences.filter(({ kind }) => kind === 'stage' || kind === 'wire').map(({ name }) => name));
    const name = freeName(part.name, taken);
    return { name: part.name, about: `${part.name} in ${on.replace(/^sequencer\./, '')}`, set: [[`stage.${name}`, part.stage], [on, withStage(word?.value ?? [], name)]], one: null };
  };
  const acts = makeCures((words) => { $('counsel-state').textContent = words; }, () => still());

  const whole = makeQuestion($('cures-state'), {
    begins: () => { $('cures-stop').hidden = false; },
    ends: () => { $('cures-stop').hidden = true; },
    told: ({ well, cures, says: said }) => {
      $('cures-state').textContent = well ? 'Nothing need be done: everybody is together at every tempo.' : cures.length ? '' : 'Nothing that was tried helps: below stands what comes nearest.';
      $('cures').replaceChildren(...cures.map((cure) => make('tr', {},
        make('th', { scope: 'row' }, ...cure.does.map((does, n) => make('div', {}, n ? `then ${does}` : does))),
        make('td', {}, cure.price), make('td', {}, cure.widest ?? '—'), make('td', {}, cure.spare ?? '—'), make('td', {}, tries(cure.about, () => cure)))));
      $('cures-scroll').hidden = cures.length === 0;
      $('cures-says').textContent = said;
      $('cures-more').hidden = false;
    },
  });
  const tries = makeCures((words) => { $('cures-state').textContent = words; }, () => still());
  const still = () => { one.still(); whole.still(); };

  desk.onShown((now) => {
    const inputs = [...inputsOf(now.words ?? []).keys()];
    section.hidden = inputs.length === 0;
    one.mark();
    whole.mark();
    if (inputs.join() === [...choice.options].map((option) => option.value).join()) return;
    const before = choice.value;
    choice.replaceChildren(...inputs.map((name) => make('option', { value: name }, saidInput(name))));
    if (inputs.includes(before)) choice.value = before;
  });
  const wish = async (body, busy) => {
    heard.textContent = busy;
    hear.disabled = true;
    try {
      const answer = await fetch('/hear', { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(body) });
      const now = await answer.json();
      heard.textContent = answer.ok ? wordsOf(now) : now.says;
      if (!answer.ok) return;
      if (now.on === null && document.activeElement === leave) hear.focus();
      leave.hidden = now.on === null;
    } catch {
      heard.textContent = 'The program did not answer.';
    } finally {
      hear.disabled = false;
    }
  };
  const wordsOf = ({ on, heard: count, left }) => {
    if (on === null) return 'They are left out again.';
    const parts = `${count} ${count === 1 ? 'component is a version' : 'components are versions'} above, in ${on.replace(/^sequencer\./, '')}, each as it usually is and, where that is worse, at its worst.`;
    return left ? `${parts} ${left} more are left out, since a page takes no more.` : parts;
  };
  hear.addEventListener('click', () => wish(input ?? {}, 'Putting them in…'));
  leave.addEventListener('click', () => wish({}, ''));
  $('counsel-ask').addEventListener('click', () => {
    const fix = desk.fix();
    one.ask(`/advise?${new URLSearchParams({ on: choice.value, ...(fix ? { version: fix } : {}) })}`, 'Trying delays and parts…');
  });
  // An answer is of the input that is chosen.
  choice.addEventListener('change', () => { if (!$('counsel-answer').hidden) $('counsel-ask').click(); });
  $('cures-ask').addEventListener('click', () => whole.ask('/mend', 'Trying parts, cables and dials, the fewest at once…'));
  $('cures-stop').addEventListener('click', () => { whole.stop(); $('cures-ask').focus(); });
  return { ask: () => $('counsel-ask').click() };
})();

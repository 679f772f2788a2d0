// Which part helps: what `advise` says of one input, each part tried there with a click, and all of them heard as versions beside the others.
import { desk } from './desk.mjs';
import { freeName, inputsOf, withStage } from './inputs.mjs';
import { button, make } from './make.mjs';

export const counsel = (() => {
  const $ = (id) => document.getElementById(id);
  const section = $('counsel'), choice = $('counsel-on'), ask = $('counsel-ask'), says = $('counsel-says'), parts = $('counsel-parts'), state = $('counsel-state');
  const all = $('counsel-all'), hear = $('counsel-hear'), leave = $('counsel-leave'), heard = $('counsel-heard');
  let asked = 0, waits = null, of = null, input = null;

  desk.onShown((now) => {
    const inputs = [...inputsOf(now.words ?? []).keys()];
    section.hidden = inputs.length === 0;
    if (of !== null && of !== now.revision) state.textContent = 'The rig has changed since: what stands here is of before. Ask again.';
    if (inputs.join() === [...choice.options].map((option) => option.value).join()) return;
    const before = choice.value;
    choice.replaceChildren(...inputs.map((name) => make('option', { value: name }, name.replace(/^sequencer\./, ''))));
    if (inputs.includes(before)) choice.value = before;
  });

  const tryIt = (part) => {
    const now = desk.now();
    const word = inputsOf(now.words).get(choice.value);
    if (!word) return;
    const taken = new Set(now.sentences.filter((sentence) => sentence.kind === 'stage' || sentence.kind === 'wire').map((sentence) => sentence.name));
    const name = freeName(part.name, taken), fix = desk.fix();
    desk.edit([
      { do: 'add', at: ['stage', name], to: part.stage },
      { do: 'set', at: word.at, to: withStage(word.value, name), ...(fix ? { fix } : {}) },
    ]);
  };

  const show = (advice) => {
    of = advice.of;
    input = { on: advice.on, ...(desk.fix() ? { version: desk.fix() } : {}) };
    all.hidden = advice.parts.length === 0 && leave.hidden;
    says.textContent = advice.says;
    says.hidden = false;
    parts.replaceChildren(...advice.parts.map((part) => make('li', {},
      make('b', {}, part.name), ` ${part.does}${part.price ? `, ${part.price}` : ''} `,
      part.stage ? button('Try it', () => tryIt(part), { 'aria-label': `Try ${part.name}` }) : null)));
  };

  ask.addEventListener('click', async () => {
    waits?.abort();
    waits = new AbortController();
    asked += 1;
    const mine = asked;
    state.textContent = 'Trying delays and parts…';
    try {
      const fix = desk.fix();
      const wish = new URLSearchParams({ on: choice.value, ...(fix ? { version: fix } : {}) });
      const answer = await fetch(`/advise?${wish}`, { signal: waits.signal, cache: 'no-store' });
      const advice = await answer.json();
      if (mine !== asked) return;
      state.textContent = answer.ok ? '' : advice.says;
      if (answer.ok) show(advice);
    } catch (error) {
      if (mine === asked && error.name !== 'AbortError') state.textContent = 'The program did not answer.';
    }
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
  return { ask: () => ask.click() };
})();

// Which part helps: what `advise` says of one input, and each part tried there with a click.
import { desk } from './desk.mjs';
import { freeName, inputsOf, saidInput, withStage } from './inputs.mjs';
import { live } from './live.mjs';
import { button, make } from './make.mjs';

export const counsel = (() => {
  const $ = (id) => document.getElementById(id);
  const section = $('counsel'), choice = $('counsel-on'), ask = $('counsel-ask'), says = $('counsel-says'), parts = $('counsel-parts'), state = $('counsel-state');
  let asked = 0, waits = null, of = null;

  desk.onShown((now) => {
    const inputs = [...inputsOf(now.words ?? []).keys()];
    section.hidden = inputs.length === 0;
    if (of !== null && of !== now.revision) state.textContent = 'The patch has changed since this answer: ask again.';
    if (inputs.join() === [...choice.options].map((option) => option.value).join()) return;
    const before = choice.value;
    choice.replaceChildren(...inputs.map((name) => make('option', { value: name }, saidInput(name))));
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
    says.textContent = advice.says;
    $('counsel-lead').textContent = advice.lead;
    $('counsel-window').replaceChildren(live.markup(advice.window));
    parts.replaceChildren(...advice.parts.map((part) => make('li', { 'data-fits': String(part.fits) },
      make('span', {}, make('b', {}, part.name), ' ', make('span', { class: 'about' }, [part.does, part.price].filter(Boolean).join(', '))),
      part.stage ? button('Try it', () => tryIt(part), { 'aria-label': `Try ${part.name}` }) : null)));
    $('counsel-answer').hidden = false;
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
  // An answer is of the input that is chosen.
  choice.addEventListener('change', () => { if (!$('counsel-answer').hidden || waits) ask.click(); });
  return { ask: () => ask.click() };
})();

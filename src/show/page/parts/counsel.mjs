// Which part helps: what `advise` says of one input, and each part tried there with a click.
import { desk } from './desk.mjs';
import { button, make } from './make.mjs';

/** The inputs that a path leads to, by their names, with the words of the desk that say the path. */
const inputsOf = (words) => {
  const found = new Map();
  for (const word of words) {
    if (word.takes?.is !== 'path' || word.at[0] !== 'sequencer' || word.at.length !== 3) continue;
    const name = word.at.join('.');
    if (word.value !== null && !found.has(name)) found.set(name, word);
  }
  return found;
};

/** The path with one stage more at its end: a path is a text or a list of texts. */
const withStage = (value, stage) => [...(Array.isArray(value) ? value : [value]), stage];

/** A name that no stage has yet: its own, or with a number. */
const freeName = (name, taken) => {
  if (!taken.has(name)) return name;
  let n = 2;
  while (taken.has(`${name}-${n}`)) n += 1;
  return `${name}-${n}`;
};

export const counsel = (() => {
  const $ = (id) => document.getElementById(id);
  const section = $('counsel'), choice = $('counsel-on'), ask = $('counsel-ask'), says = $('counsel-says'), parts = $('counsel-parts'), state = $('counsel-state');
  let asked = 0, waits = null;

  desk.onShown((now) => {
    const inputs = [...inputsOf(now.words ?? []).keys()];
    section.hidden = inputs.length === 0;
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
    state.textContent = `${part.name} is in the path now. Undo takes it out.`;
  };

  const show = (advice) => {
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
  return { inputsOf, withStage, freeName };
})();

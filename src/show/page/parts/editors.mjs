// What a word opens to: an editor for each kind of thing that can stand there. Each is `{ element, focus, show }`; `send` hears of a value.
import { makeDial } from './dial.mjs';
import { makeLimits } from './limits-editor.mjs';
import { button, make, signs } from './make.mjs';
import { RATES, rateOf, writtenRate } from './rate.mjs';
import { signsOf } from './words.mjs';
import { longer, nextStep, partsOf, saidStep, shorter, stepOf, stepsOf, withStep } from './steps.mjs';

let names = 0;
/** A name that a group of radios has to itself. */
const ownName = () => `editor-${names += 1}`;

/** One of several, each a sentence. */
const makeList = (takes, send) => {
  const name = ownName();
  const same = (a, b) => JSON.stringify(a) === JSON.stringify(b);
  const rows = takes.of.map(({ to, says, about }) => {
    const radio = make('input', { type: 'radio', name, onchange: () => send(to) });
    return { to, radio, row: make('label', { class: 'choice' }, radio, make('span', {}, make('b', {}, says), about ? make('span', { class: 'about' }, ' ', ...signs(signsOf(about))) : null)) };
  });
  const show = (value) => rows.forEach(({ to, radio }) => { radio.checked = same(to, value); });
  return { element: make('div', { class: 'choices', role: 'radiogroup', 'aria-labelledby': 'editor-title' }, ...(rows.length ? rows.map(({ row }) => row) : [make('p', { class: 'hint' }, 'There is nothing yet that could stand here.')])), show, focus: () => (rows.find(({ radio }) => radio.checked) ?? rows[0])?.radio.focus() };
};

/** A pattern, a button a step. */
const makeSteps = (takes, send) => {
  let text = '', buttons = [], at = 0;
  const line = make('div', { class: 'steps', role: 'group', 'aria-label': 'steps' });
  const count = make('output', {});
  const put = (next) => { text = next; draw(); send(text); };
  const mark = (b, step, n) => {
    b.dataset.step = step;
    b.textContent = step === 'X' ? '>' : '';
    b.setAttribute('aria-label', `step ${n + 1}, ${saidStep(step)}`);
    b.tabIndex = n === at ? 0 : -1;
  };
  const go = (n) => { at = Math.max(0, Math.min(buttons.length - 1, n)); buttons.forEach((b, k) => { b.tabIndex = k === at ? 0 : -1; }); buttons[at].focus(); };
  const act = (n) => { at = n; put(withStep(text, n, nextStep(stepsOf(text)[n]))); };
  const draw = () => {
    const steps = stepsOf(text), parts = new Set(partsOf(text));
    at = Math.max(0, Math.min(steps.length - 1, at));
    while (buttons.length > steps.length) buttons.pop().remove();
    steps.forEach((step, n) => {
      if (!buttons[n]) {
        buttons[n] = make('button', { type: 'button', class: 'step', onclick: () => act(n) });
        line.append(buttons[n]);
      }
      buttons[n].toggleAttribute('data-part', parts.has(n));
      mark(buttons[n], step, n);
    });
    count.textContent = `${steps.length} steps`;
    fewer.disabled = steps.length < 2;
  };
  line.addEventListener('keydown', (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const step = stepOf(event.key);
    const to = { ArrowLeft: at - 1, ArrowRight: at + 1, ArrowUp: at - 8, ArrowDown: at + 8, Home: 0, End: buttons.length - 1 }[event.key];
    if (step) { put(withStep(text, at, step)); go(event.key === 'Backspace' ? at - 1 : at + 1); } else if (to !== undefined) go(to); else return;
    event.preventDefault();
    event.stopPropagation();
  });
  const fewer = button('−', () => put(shorter(text)), { 'aria-label': 'a step fewer' });
  const more = button('+', () => put(longer(text)), { 'aria-label': 'a step more' });
  return {
    element: make('div', {}, line, make('div', { class: 'row tight' }, fewer, count, more), make('p', { class: 'hint' }, 'A click makes a hit of a rest, an accent (>) of a hit, and a rest of an accent.', make('span', { class: 'by-keys' }, ' By keys: ', make('kbd', {}, 'x'), ' a hit, ', make('kbd', {}, 'Shift X'), ' an accent, ', make('kbd', {}, '.'), ' a rest; arrows move.'))),
    focus: () => buttons[at]?.focus(),
    show: (value) => { if (typeof value === 'string' && value !== text) { text = value; draw(); } else if (!buttons.length) { text = 'x...'; draw(); } },
  };
};

/** An output, then stages in order; the way to the ear has stages alone. */
const makePath = (takes, send) => {
  let path = [];
  const begins = takes.from.length > 0, head = begins ? 1 : 0;
  const from = make('select', { 'aria-label': 'begins at' });
  const list = make('ol', { class: 'way' });
  const add = make('select', { 'aria-label': 'a stage more' });
  const put = (next) => { path = next; draw(); send(begins && path.length === 1 ? path[0] : path); };
  const move = (n, by) => { const next = [...path]; [next[n], next[n + by]] = [next[n + by], next[n]]; put(next); list.children[n + by - head]?.querySelector('button:not(:disabled)')?.focus(); };
  const focus = () => (begins ? from : add).focus();
  const draw = () => {
    const outputs = path[0] === undefined || takes.from.some(({ to }) => to === path[0]) ? takes.from : [{ to: path[0], says: path[0] }, ...takes.from];
    from.replaceChildren(...outputs.map(({ to, says }) => make('option', { value: to, selected: to === path[0] }, says)));
    list.replaceChildren(...path.slice(head).map((stage, k) => {
      const n = k + head;
      return make('li', {}, make('b', {}, stage), make('span', { class: 'pair' },
        button('↑', () => move(n, -1), { 'aria-label': `${stage} earlier`, disabled: n === head }),
        button('↓', () => move(n, 1), { 'aria-label': `${stage} later`, disabled: n === path.length - 1 }),
        button('Take out', () => { put(path.filter((_, other) => other !== n)); focus(); }, { 'aria-label': `Take out ${stage}` })));
    }));
    add.replaceChildren(make('option', { value: '' }, 'add a stage …'), ...takes.through.map((one) => make('option', { value: one }, one)));
    add.hidden = takes.through.length === 0 && begins;
  };
  from.addEventListener('change', () => put([from.value, ...path.slice(1)]));
  add.addEventListener('change', () => { if (add.value) { put([...(begins && !path.length ? [from.value] : path), add.value]); add.focus(); } });
  draw();
  return {
    element: make('div', { class: 'path' }, begins ? make('label', {}, 'from ', from) : null, list, add),
    focus,
    show: (value) => {
      const next = value === null || value === undefined ? [] : [].concat(value).filter((one) => typeof one === 'string');
      if (JSON.stringify(next) !== JSON.stringify(path)) { path = next; draw(); }
    },
  };
};

/** So many pulses, over so many beats. */
const makeRate = (takes, send) => {
  const pulses = make('input', { type: 'number', min: '1', max: '10000', step: '1', 'aria-label': 'pulses' });
  const beats = make('input', { type: 'number', min: '1', max: '10000', step: '1', 'aria-label': 'beats' });
  const presets = RATES.map((rate) => button(rate, () => { show(rate); send(rate); }, { 'aria-pressed': 'false' }));
  const mark = (rate) => presets.forEach((b, n) => b.setAttribute('aria-pressed', String(RATES[n] === rate)));
  const put = () => {
    const rate = { pulses: Math.round(Number(pulses.value)), beats: Math.round(Number(beats.value)) };
    if (!(rate.pulses >= 1 && rate.beats >= 1)) return;
    mark(writtenRate(rate));
    send(writtenRate(rate));
  };
  for (const field of [pulses, beats]) field.addEventListener('input', put);
  const show = (value) => {
    const rate = rateOf(value);
    mark(rate && writtenRate(rate));
    if (!rate || pulses === document.activeElement || beats === document.activeElement) return;
    pulses.value = String(rate.pulses);
    beats.value = String(rate.beats);
  };
  return { element: make('div', {}, make('div', { class: 'row tight rate' }, pulses, 'per', beats, 'beats'), make('div', { class: 'presets', role: 'group', 'aria-label': 'rates' }, ...presets)), focus: () => { pulses.focus(); pulses.select(); }, show };
};

/** A text; a name is sent when it is whole. */
const makeText = (takes, send) => {
  const whole = !['text', 'value'].includes(takes.is);
  const field = whole ? make('input', { type: 'text', maxLength: 64, autocomplete: 'off', spellcheck: false, 'aria-labelledby': 'editor-title' })
    : make('textarea', { rows: 2, 'aria-labelledby': 'editor-title', class: 'text' });
  let given = '';
  const put = () => { if (field.value.trim() !== '' && field.value !== given) send(field.value.trim()); };
  if (whole) field.addEventListener('keydown', (event) => { if (event.key === 'Enter') { event.preventDefault(); put(); } });
  else field.addEventListener('input', () => send(field.value));
  return {
    element: whole ? make('div', { class: 'row tight' }, field, button(takes.is === 'name' ? 'Rename' : 'Set', put)) : make('div', {}, field),
    focus: () => { field.focus(); field.select(); },
    show: (value) => { if (document.activeElement !== field && value !== null && value !== undefined) { given = String(value); field.value = given; } },
  };
};

/** Several things in an order: of a few that may be named, or as they are written. */
const makeItems = (takes, send) => {
  let all = [];
  const list = make('ul', { class: 'tempos' });
  const field = takes.of ? make('select', { 'aria-label': 'one more' }, ...takes.of.map((one) => make('option', { value: one }, one))) : make('input', { type: 'text', autocomplete: 'off', 'aria-label': 'one more' });
  const put = (next) => { all = next; draw(); send(all); };
  const draw = () => list.replaceChildren(...all.map((one, n) => make('li', {}, make('b', {}, one), button('Take out', () => { put(all.filter((_, other) => other !== n)); field.focus(); }, { 'aria-label': `Take out ${one}` }))));
  const add = () => {
    if (!field.value.trim() || (takes.most && all.length >= takes.most)) return;
    put([...all, field.value.trim()]);
    if (!takes.of) field.value = '';
  };
  field.addEventListener('keydown', (event) => { if (event.key === 'Enter') { event.preventDefault(); add(); } });
  return { element: make('div', {}, list, make('div', { class: 'row tight' }, field, button('Add', add))), focus: () => field.focus(), show: (value) => { if (Array.isArray(value) && JSON.stringify(value) !== JSON.stringify(all)) { all = value.map(String); draw(); } } };
};

/** A list of tempos. */
const makeTempos = (takes, send) => {
  let all = [];
  const list = make('ul', { class: 'tempos' });
  const field = make('input', { type: 'number', min: '1', max: '1000', step: 'any', 'aria-label': 'a tempo more' });
  const draw = () => list.replaceChildren(...all.map((bpm) => make('li', {}, make('b', {}, String(bpm)), button('Take out', () => { put(all.filter((one) => one !== bpm)); field.focus(); }, { 'aria-label': `Take out ${bpm}`, disabled: all.length < 2 }))));
  const put = (next) => { all = next; draw(); send(all); };
  const add = () => {
    const bpm = Number(field.value);
    if (!(bpm >= 1 && bpm <= 1000) || all.includes(bpm)) return;
    field.value = '';
    put([...all, bpm].sort((a, b) => a - b));
  };
  field.addEventListener('keydown', (event) => { if (event.key === 'Enter') { event.preventDefault(); add(); } });
  return { element: make('div', {}, list, make('div', { class: 'row tight' }, field, button('Add', add))), focus: () => field.focus(), show: (value) => { if (Array.isArray(value) && JSON.stringify(value) !== JSON.stringify(all)) { all = value.map(Number); draw(); } } };
};

/** What no editor is for: shown as it is, and changed in the text. */
export const makeShown = (value, act) => {
  const go = button('Show it in the text', act);
  return { element: make('div', {}, make('p', { class: 'hint' }, Object.entries(value).map(([key, one]) => `${key} ${typeof one === 'object' ? JSON.stringify(one) : one}`).join(', ')), go), focus: () => go.focus(), show: () => {} };
};

const KINDS = { dial: makeDial, number: makeDial, list: makeList, steps: makeSteps, path: makePath, rate: makeRate, name: makeText, text: makeText, tempos: makeTempos, rates: makeItems, names: makeItems, texts: makeItems };
/** The editor of a word; what nobody knows is a text. */
export const makeEditor = (takes, send) => (takes.is === 'dial' && takes.limits ? makeLimits : KINDS[takes.is] ?? makeText)(takes, send);

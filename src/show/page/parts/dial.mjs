// The editor of an amount: a number and its unit, and a slider that reaches a little further than it stands.
import { amountOf, inUnit, plainNumber, reachOf, turned, turnOf, wholeOf, written } from './amount.mjs';
import { make } from './make.mjs';

/** `takes` is the word's editor, `send` hears of each value. */
export const makeDial = (takes, send) => {
  const units = takes.is === 'number' ? [''] : takes.units;
  const least = amountOf(takes.least ?? ''), most = amountOf(takes.most ?? '');
  let whole = wholeOf(takes.of), reach = null;
  let amount = { number: 0, unit: units[0] };
  const field = make('input', { type: 'text', inputmode: 'decimal', autocomplete: 'off', class: 'number', 'aria-label': 'value' });
  const unit = make('select', { 'aria-label': 'unit' }, ...units.filter((one) => one !== 'ps').map((one) => make('option', { value: one }, one.replace(/^u/, 'µ'))));
  const slide = make('input', { type: 'range', 'aria-label': 'turn' });
  const ends = make('span', { class: 'ends', 'aria-hidden': 'true' });

  const shares = (takes.shares ?? []).map(amountOf);
  /** The bounds of a time and those of a share are told apart. */
  const limits = () => (amount.unit === '%' && shares.length ? shares : [least, most]);
  const bounds = () => limits().map((end, n) => {
    const own = end && (end.unit === '' ? end : inUnit(end, amount.unit, whole));
    return own ? own.number : n ? Infinity : -Infinity;
  });
  const instead = (takes.or ?? []).map((word) => make('button', { type: 'button', onclick: () => send(word) }, word));
  /** Whether the slider is being dragged: then its ends stay, or it would run away under the hand. */
  let held = false;
  /** Whether the number was typed since a unit was chosen: then that is the number that is meant, whatever its unit becomes. */
  let typed = false;
  const show = (alsoField = true) => {
    if (!held || reach === null) reach = reachOf(amount, ...limits(), whole, reach);
    if (takes.whole) Object.assign(reach, { step: Math.max(1, Math.round(reach.step)), fine: 1, coarse: Math.max(1, Math.round(reach.coarse)) });
    if (alsoField) field.value = plainNumber(amount.number);
    // Nobody turns in picoseconds; a file may be written in them.
    if (![...unit.options].some((one) => one.value === amount.unit)) unit.append(make('option', { value: amount.unit }, amount.unit));
    unit.value = amount.unit;
    slide.min = String(reach.from);
    slide.max = String(reach.to);
    slide.step = String(reach.fine);
    slide.value = String(amount.number);
    slide.setAttribute('aria-valuetext', written(amount));
    ends.replaceChildren(make('span', {}, written({ number: reach.from, unit: reach.unit })), make('span', {}, written({ number: reach.to, unit: reach.unit })));
  };
  const set = (next, alsoField = true) => {
    const [low, high] = bounds();
    amount = { ...next, number: Math.max(low, Math.min(high, takes.whole ? Math.round(next.number) : next.number)) };
    show(alsoField);
    send(takes.is === 'number' ? amount.number : written(amount));
  };
  const turn = (event) => {
    const own = turnOf(event.key, event.shiftKey);
    if (!own || event.ctrlKey || event.metaKey || event.altKey) return;
    // In the field left and right move the caret.
    if (event.target === field && (event.key === 'ArrowLeft' || event.key === 'ArrowRight')) return;
    event.preventDefault();
    const [by, step] = own;
    set({ ...amount, number: turned(amount.number, by, reach[step], ...bounds()) });
  };
  field.addEventListener('input', () => {
    const next = amountOf(field.value);
    field.setAttribute('aria-invalid', String(next === null));
    if (next === null) return;
    const own = units.includes(next.unit) ? next.unit : amount.unit;
    typed = !units.includes(next.unit);
    set({ number: next.number, unit: own }, false);
  });
  field.addEventListener('change', () => show());
  field.addEventListener('keydown', turn);
  slide.addEventListener('keydown', turn);
  slide.addEventListener('pointerdown', () => { held = true; });
  slide.addEventListener('change', () => { held = false; show(); });
  slide.addEventListener('input', () => set({ ...amount, number: turned(Number(slide.value), 0, reach.fine) }));
  unit.addEventListener('change', () => {
    const next = typed ? null : inUnit(amount, unit.value, whole);
    typed = false;
    reach = null;
    // What cannot be turned into the other is the same number of it.
    set(next ? { ...next, number: Number(next.number.toPrecision(6)) } : { number: amount.number, unit: unit.value });
  });
  return {
    element: make('div', { class: 'dial' },
      make('div', { class: 'amount' }, field, takes.is === 'number' ? null : units.length > 1 ? unit : make('span', { class: 'unit' }, units[0])),
      make('div', { class: 'slide' }, slide, ends),
      instead.length ? make('div', { class: 'presets' }, ...instead) : null,
      make('p', { class: 'hint by-keys' }, 'Arrows turn, with Shift finely; Page Up and Page Down turn far.')),
    focus: () => { field.focus(); field.select(); },
    /** Shows a value that came from elsewhere. */
    show: (value, nextTakes) => {
      whole = wholeOf((nextTakes ?? takes).of);
      const next = typeof value === 'number' ? { number: value, unit: '' } : amountOf(value ?? '');
      if (!next) { if (reach === null) show(); return; }
      if (units.includes(next.unit) || takes.is === 'number') amount = next;
      // Of nothing, any unit is as true, and thousandths are turned sooner.
      if (amount.number === 0 && amount.unit === 's' && units.includes('ms')) amount = { number: 0, unit: 'ms' };
      show(document.activeElement !== field);
    },
  };
};

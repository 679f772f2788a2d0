// The editor of a value that may have limits: a dial for one value, and fields for those of two more ways to write it.
import { amountOf, inUnit, plainNumber, written } from './amount.mjs';
import { makeDial } from './dial.mjs';
import { FORMS, formOf, inForm, orderOf, WRITTEN } from './limits.mjs';
import { button, make } from './make.mjs';

/** A number and its unit; `send` hears of each text, an empty one where there is none. */
const makeAmount = (label, units, send) => {
  const field = make('input', { type: 'text', inputmode: 'decimal', autocomplete: 'off', class: 'number', 'aria-label': label });
  const unit = make('select', { 'aria-label': `unit of ${label}` }, ...units.map((one) => make('option', { value: one }, one)));
  const text = () => {
    const amount = amountOf(field.value);
    return amount ? written({ number: amount.number, unit: unit.value }) : field.value.trim();
  };
  field.addEventListener('input', () => {
    const own = amountOf(field.value);
    if (own && units.includes(own.unit)) unit.value = own.unit;
    send();
  });
  let before = null;
  unit.addEventListener('focus', () => { before = unit.value; });
  unit.addEventListener('change', () => {
    const amount = amountOf(field.value), next = amount && before && inUnit({ number: amount.number, unit: before }, unit.value);
    if (next) field.value = plainNumber(Number(next.number.toPrecision(9)));
    before = unit.value;
    send();
  });
  return {
    element: make('span', { class: 'amount small-amount' }, field, unit), field, text,
    show: (value) => {
      const amount = amountOf(value ?? '');
      if (document.activeElement === field || document.activeElement === unit) return;
      field.value = amount ? plainNumber(amount.number) : '';
      if (amount && units.includes(amount.unit)) unit.value = amount.unit;
    },
  };
};

export const makeLimits = (takes, send) => {
  let value = null, form = null, fields = [];
  const dial = makeDial({ ...takes, limits: false }, (next) => { value = next; send(next); });
  const forms = Object.entries(FORMS).map(([name, { says }]) => [name, button(says, () => {
    const next = inForm(value, name);
    if (formOf(next) !== name) return;
    value = next;
    draw();
    send(value);
    focus();
  }, { 'aria-pressed': 'false' })]);
  const place = make('div', {}), wrong = make('p', { class: 'hint', role: 'status' });
  /** What the fields say. */
  const typed = () => {
    const all = Object.fromEntries(fields.map(({ key, amount }) => [key, amount.text()]));
    return Object.fromEntries(WRITTEN.filter((key) => all[key]).map((key) => [key, all[key]]));
  };
  const put = () => {
    const next = typed();
    const fault = orderOf(next);
    wrong.textContent = fault ?? '';
    fields.forEach(({ amount }) => amount.field.setAttribute('aria-invalid', String(fault !== null)));
    if (fault !== null) return;
    value = next;
    send(value);
  };
  const draw = () => {
    form = formOf(value);
    forms.forEach(([name, act]) => act.setAttribute('aria-pressed', String(name === form)));
    wrong.textContent = '';
    const units = (key) => (key === 'tolerance' ? [...takes.units, ...(takes.units.includes('%') ? [] : ['%'])] : takes.units);
    fields = FORMS[form].fields.map(([key, says]) => ({ key, amount: makeAmount(says, units(key), put), says }));
    place.replaceChildren(form === 'one' ? dial.element : make('div', { class: 'limits' }, ...fields.map(({ amount, says }) => make('div', { class: 'limit' }, make('span', { 'aria-hidden': 'true' }, says), amount.element))));
    fill();
  };
  const fill = () => {
    if (form === 'one') dial.show(value, takes);
    else fields.forEach(({ key, amount }) => amount.show(value[key]));
  };
  const focus = () => { if (form === 'one') dial.focus(); else { fields[0].amount.field.focus(); fields[0].amount.field.select(); } };
  return {
    element: make('div', {}, place, wrong, make('div', { class: 'presets', role: 'group', 'aria-label': 'how it is written' }, ...forms.map(([, act]) => act))),
    focus,
    /** Shows a value that came from elsewhere: what is being typed stays. */
    show: (next, nextTakes) => {
      value = next;
      if (form !== formOf(next)) draw();
      else if (form === 'one') dial.show(next, nextTakes);
      else if (orderOf(typed()) === null) fill();
    },
  };
};

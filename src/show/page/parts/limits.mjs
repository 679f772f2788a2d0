// A value with its limits: one value, between two with the usual one, or give or take.
import { amountOf, inUnit, written } from './amount.mjs';

/** The fields of each form, by their keys in the file, and how each is said. */
export const FORMS = {
  one: { says: 'one value', fields: [] },
  between: { says: 'between two', fields: [['min', 'between'], ['max', 'and'], ['typ', 'usually']] },
  around: { says: 'give or take', fields: [['value', 'is'], ['tolerance', 'give or take']] },
};
/** The keys in the order in which they are written. */
export const WRITTEN = ['min', 'typ', 'max', 'value', 'tolerance'];
/** In which form a value is written. */
export const formOf = (value) => {
  if (value === null || typeof value !== 'object' || Array.isArray(value)) return 'one';
  return 'value' in value || 'tolerance' in value ? 'around' : 'between';
};

const rounded = (amount) => written({ ...amount, number: Number(amount.number.toPrecision(9)) });
/** An amount with another taken away or added, in its own unit: a share is one of the first. */
const plus = (amount, other, sign) => {
  const by = other.unit === '%' && amount.unit !== '%' ? { number: Math.abs(amount.number) * other.number / 100, unit: amount.unit } : inUnit(other, amount.unit);
  return by && { number: amount.number + sign * by.number, unit: amount.unit };
};
const middle = (low, high) => {
  const other = inUnit(low, high.unit);
  return other && { number: (other.number + high.number) / 2, unit: high.unit };
};

/** The least, the usual and the largest of a value, as amounts; null for what is not said or cannot be read. A missing least is nothing. */
const spanOf = (value) => {
  const of = (key) => amountOf(value[key] ?? '');
  if (formOf(value) === 'one') return { typ: amountOf(value ?? '') };
  if (formOf(value) === 'around') {
    const [typ, off] = [of('value'), of('tolerance')];
    return typ && off ? { min: plus(typ, off, -1), typ, max: plus(typ, off, 1) } : { typ };
  }
  const max = of('max'), min = of('min') ?? (max && { number: 0, unit: max.unit });
  return { min, typ: of('typ') ?? (min && max ? middle(min, max) : max), max };
};

/** A value in another form: what it usually is stays, and its limits as far as they can be said so. */
export const inForm = (value, form) => {
  if (formOf(value) === form) return value;
  const { min, typ, max } = spanOf(value);
  if (!typ) return value;
  const own = rounded(typ);
  if (form === 'one') return own;
  if (form === 'between') return { min: min ? rounded(min) : own, typ: own, max: max ? rounded(max) : own };
  // As far off as the further of the two, and not below nothing where the least is not.
  const offs = [min, max].filter(Boolean).map((end) => inUnit(end, typ.unit)).filter(Boolean).map((end) => Math.abs(end.number - typ.number));
  const off = Math.max(0, ...offs);
  return { value: own, tolerance: rounded({ number: min && min.number >= 0 ? Math.min(off, typ.number) : off, unit: typ.unit }) };
};

/** What is not in order in the fields of a value, in a sentence; null where all is well. `least`, `usual` may be left out. */
export const orderOf = (value) => {
  const amounts = Object.entries(value).map(([key, text]) => [key, amountOf(text)]);
  const odd = amounts.find(([, amount]) => amount === null || amount.unit === '');
  if (odd) return 'Each needs a number and its unit.';
  if (formOf(value) === 'around') return amounts.some(([key, { number }]) => key === 'tolerance' && number < 0) ? 'Give or take is not less than nothing.' : null;
  if (!('max' in value)) return 'The largest is needed.';
  const all = Object.fromEntries(amounts);
  const row = ['min', 'typ', 'max'].filter((key) => all[key]).map((key) => [key, inUnit(all[key], all.max.unit)]);
  const wrong = row.findIndex(([, amount], n) => n > 0 && amount && row[n - 1][1] && row[n - 1][1].number > amount.number);
  const said = { min: 'the least', typ: 'the usual', max: 'the largest' };
  return wrong < 0 ? null : `${said[row[wrong - 1][0]][0].toUpperCase()}${said[row[wrong - 1][0]].slice(1)} is more than ${said[row[wrong][0]]}.`;
};

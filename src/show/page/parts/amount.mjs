// Amounts as a patch writes them, a number and its unit, and how a dial turns them. Steps are decimal: what is turned to is what is written.
/** How much of its kind's first unit a unit is, as a power of ten; units of one kind can be turned into each other. */
const KINDS = [{ s: 0, ms: -3, us: -6, 'µs': -6, ns: -9, ps: -12 }, { Hz: 0, kHz: 3 }, { ohm: 0, kohm: 3, Mohm: 6 }, { F: 0, uF: -6, 'µF': -6, nF: -9, pF: -12 }, { V: 0, mV: -3 }];

/** The number and the unit of a written amount; null for what is none. */
export const amountOf = (text) => {
  const found = /^\s*([+\-−]?)\s*(\d+(?:[.,]\d+)?|[.,]\d+)\s*([^\s\d].*?)?\s*$/.exec(String(text));
  if (!found) return null;
  const size = Number(found[2].replace(',', '.'));
  return { number: found[1] === '-' || found[1] === '−' ? -size : size, unit: found[3] ?? '' };
};

/** A number as people write it, without the digits that a computer adds. */
export const plainNumber = (number) => {
  const shown = Number(number.toPrecision(12));
  const text = String(shown === 0 ? 0 : shown);
  return text.includes('e') ? shown.toFixed(15).replace(/\.?0+$/, '') : text;
};
export const written = ({ number, unit }) => (unit ? `${plainNumber(number)} ${unit}` : plainNumber(number));

const kindOf = (unit) => KINDS.find((kind) => unit in kind);
/** An amount in another unit. `whole` is what 100 % are, an amount or null. Null where there is no way from one to the other. */
export const inUnit = (amount, unit, whole = null) => {
  if (amount.unit === unit) return amount;
  const from = kindOf(amount.unit), to = kindOf(unit);
  if (from && from === to) return { number: amount.number * 10 ** (from[amount.unit] - from[unit]), unit };
  if (whole && amount.unit === '%' && to) {
    const all = inUnit(whole, unit);
    return all && { number: (all.number * amount.number) / 100, unit };
  }
  if (whole && unit === '%' && from) {
    const all = inUnit(whole, amount.unit);
    return all && all.number !== 0 ? { number: (amount.number / all.number) * 100, unit } : null;
  }
  return null;
};

/** The least of 1, 2, 5, 10, 20 … that is not less. */
export const roundUp = (size) => {
  const power = 10 ** Math.floor(Math.log10(size) + 1e-9);
  const step = [1, 2, 5, 10].find((n) => n * power >= size * (1 - 1e-9));
  return Number((step * power).toPrecision(6));
};

/** Units in which a first turn should be small. */
const FIRST = { s: 1, ms: 20, us: 100, 'µs': 100, ns: 500, ps: 1000, '%': 10, Hz: 1000, kHz: 10, dB: 12, ohm: 1000, kohm: 100, Mohm: 10, F: 1, uF: 10, 'µF': 10, nF: 100, pF: 100, V: 5, mV: 1000 };

/** What a slider reaches around an amount: `{ from, to, step, fine, coarse }` in its unit, within the bounds `least` and `most` (amounts or
 * null). At least as far as it reached before. */
export const reachOf = (amount, least, most, whole = null, before = null) => {
  const bound = (end, other) => {
    const own = end && inUnit(end, amount.unit, whole);
    return own ? own.number : other;
  };
  const low = bound(least, -Infinity), high = bound(most, Infinity);
  const size = Math.abs(amount.number);
  let far = Math.max(FIRST[amount.unit] ?? 10, size * 1.25, before && before.unit === amount.unit ? Math.max(-before.from, before.to) : 0);
  far = roundUp(far);
  const from = low < 0 ? Math.max(-far, low) : Math.max(0, low), to = Math.min(far, high);
  const step = roundUp((to - Math.min(from, 0)) / 200);
  return { unit: amount.unit, from, to, step, fine: step / 10, coarse: step * 10 };
};

/** A number turned by so many steps: on the grid of the step, and within the bounds. */
export const turned = (number, by, step, low = -Infinity, high = Infinity) => {
  // The next line of the grid first: 1.23 turned by 0.1 is 1.3.
  const at = number / step, near = Math.round(at);
  const on = Math.abs(at - near) < 1e-6 ? near + by : by > 0 ? Math.floor(at) + by : Math.ceil(at) + by;
  const next = Number((on * step).toPrecision(12));
  return Math.max(low, Math.min(high, next));
};

/** What a key does to a dial, as `[steps, step]` by name; null for a key that does nothing. */
export const turnOf = (key, shift) => {
  const step = shift ? 'fine' : 'step';
  return { ArrowUp: [1, step], ArrowRight: [1, step], ArrowDown: [-1, step], ArrowLeft: [-1, step], PageUp: [1, 'coarse'], PageDown: [-1, 'coarse'] }[key] ?? null;
};

/** The amount behind the last colon of a text such as `period of slow: 1 s`; null without one. */
export const wholeOf = (text) => {
  const at = String(text ?? '').lastIndexOf(': ');
  return at < 0 ? null : amountOf(String(text).slice(at + 2));
};

// What is worked out of the words of a desk.
import { amountOf } from './amount.mjs';

/** The groups of sentences, in the order in which they stand, with the kinds that they hold. The last holds all others, folded. */
export const GROUPS = [
  { id: 'clock', title: 'The clock', kinds: ['clock'], adds: ['clock'] },
  { id: 'boxes', title: 'The boxes', kinds: ['sequencer', 'hits'], adds: ['sequencer', 'hits'] },
  { id: 'way', title: 'Stages', kinds: ['stage', 'wire'], adds: ['stage', 'wire'] },
  { id: 'fixes', title: 'Fixes', kinds: ['fix'], adds: ['fix'] },
  { id: 'piece', title: 'The piece', kinds: ['top', 'change', 'tempo-map', 'jitter'], adds: ['change', 'tempo-map'] },
  { id: 'sounds', title: 'Drums, parts and kinds of boxes', kinds: [], adds: ['voice', 'component', 'box'] },
];
export const groupOf = (kind) => (GROUPS.find(({ kinds }) => kinds.includes(kind)) ?? GROUPS[GROUPS.length - 1]).id;

/** What a word is known by from one revision to the next. */
export const keyOf = (word) => word.at.join('.') + (word.takes.is === 'more' ? ' more' : '');

/** A word by its key, with the `more` behind which it stands, if it stands in no sentence. */
export const wordOf = (desk, key) => {
  const n = desk.words.findIndex((word) => keyOf(word) === key);
  if (n < 0) return null;
  const more = desk.words.find((word) => word.takes.is === 'more' && word.takes.words.includes(n));
  return more ? { ...desk.words[n], behind: keyOf(more) } : desk.words[n];
};

/** What a word is called: `phase of slow`, `name of wren`. */
export const calledOf = (word) => {
  const { at } = word;
  if (word.takes.is === 'more') return at.length > 1 ? `more of ${typeof at[1] === 'number' ? `${at[0]} ${at[1] + 1}` : at[1]}` : `more of ${at[0] ?? 'the piece'}`;
  if (word.takes.is === 'name') return `name of ${at[at.length - 1]}`;
  if (at[0] === 'fix' && at[2] === 'set') return `${at[3]} in ${at[1]}`;
  return at.length > 2 ? `${at.slice(2).join(' ')} of ${typeof at[1] === 'number' ? `${at[0]} ${at[1] + 1}` : at[1]}` : at.join(' ');
};

/** A text in which signs and keys stand between backticks, in pieces: `[text, whether it is such a sign]`. */
export const signsOf = (text) => String(text).split('`').map((piece, n) => [piece, n % 2 === 1]).filter(([piece]) => piece !== '');
export const withoutTicks = (text) => String(text).replaceAll('`', '');
/** Words begin as they would within a sentence; what stands alone begins as one. A sign stays as it is written: `x` is not `X`. */
export const sentenceOf = (words) => (words ? `${words[0].toUpperCase()}${words.slice(1)}${/[.!?]$/.test(words) ? '' : '.'}` : '');
/** Whether a word says what holds where nothing is written. */
export const isUsual = (word) => (word.value ?? null) === null && Boolean(word.without) && !['name', 'more'].includes(word.takes.is);
/** What an editor begins with: what is written, or else what holds. Where that is told in words, an amount is what the sentence says. */
export const heldOf = (word) => {
  if ((word.value ?? null) !== null) return word.value;
  const amount = (text) => (amountOf(text ?? '') ? text : null);
  return word.takes.is === 'dial' ? amount(word.without) ?? amount(word.says)?.replace('µ', 'u') ?? word.without ?? null : word.without ?? null;
};

/** Tables that a fix may set keys of. */
const FIXED = ['clock', 'stage', 'wire', 'sequencer', 'voice', 'hits'];
/** The edits that give a word another value, within the fix of that name where one is at hand; with `first` those that go along when it is
 * written for the first time. */
export const editsOf = (word, value, fix, first = true) => {
  if (word.takes.is === 'name') return [{ do: 'rename', at: word.at, as: value }];
  const choice = word.takes.is === 'list' ? word.takes.of.find(({ to }) => JSON.stringify(to) === JSON.stringify(value)) : null;
  const set = choice?.edits?.length ? choice.edits : [{ do: 'set', at: word.at, to: value, ...(fix && FIXED.includes(word.at[0]) ? { fix } : {}) }];
  return [...(first ? word.beside ?? [] : []), ...set];
};
/** The edits that take a key out, so that its default holds; null where there is nothing to take out. */
export const clearsOf = (word, fix) => {
  if (['name', 'more'].includes(word.takes.is)) return null;
  const own = fix && FIXED.includes(word.at[0]);
  if (own ? !word.changed : !word.clears) return null;
  return [...(word.apart ?? []), { do: 'clear', at: word.at, ...(own ? { fix } : {}) }];
};

/** Kinds of tables that have names. */
const NAMED = ['clock', 'stage', 'wire', 'sequencer', 'hits', 'voice', 'fix', 'box', 'component'];
/** What can be done with the whole of a table. */
export const wholeOf = (at) => {
  if (at.length !== 2) return [];
  return NAMED.includes(at[0]) ? ['rename', 'duplicate', 'remove'] : typeof at[1] === 'number' ? ['remove'] : [];
};

/** A name that is not taken: `wren-2`, `wren-3` … */
export const freeName = (name, taken) => {
  const all = new Set(taken.map((one) => one.toLowerCase()));
  if (!all.has(name.toLowerCase())) return name;
  const stem = name.replace(/-\d+$/, '');
  let n = 2;
  while (all.has(`${stem}-${n}`.toLowerCase())) n += 1;
  return `${stem}-${n}`;
};

/** The fix that is at hand while the version of this name is heard: none for the original and for what is saved. */
export const fixOf = (desk, version) => (desk.sentences.some(({ kind, name }) => kind === 'fix' && name === version) ? version : null);

/** What a text has of its own beside another: `[line, marked]` for each, by the longest common run of lines. */
export const marked = (text, other) => {
  const a = text.split('\n'), b = other.split('\n');
  let head = 0;
  while (head < a.length && head < b.length && a[head] === b[head]) head += 1;
  let tail = 0;
  while (tail < a.length - head && tail < b.length - head && a[a.length - 1 - tail] === b[b.length - 1 - tail]) tail += 1;
  const middle = a.slice(head, a.length - tail), there = b.slice(head, b.length - tail);
  // Two long texts that have nothing in common are marked whole.
  if (middle.length * there.length > 4e6) return a.map((line, n) => [line, n >= head && n < a.length - tail]);
  const length = Array.from({ length: middle.length + 1 }, () => new Uint32Array(there.length + 1));
  for (let n = middle.length - 1; n >= 0; n -= 1) {
    for (let k = there.length - 1; k >= 0; k -= 1) length[n][k] = middle[n] === there[k] ? length[n + 1][k + 1] + 1 : Math.max(length[n + 1][k], length[n][k + 1]);
  }
  const own = new Set();
  for (let n = 0, k = 0; n < middle.length;) {
    if (k < there.length && middle[n] === there[k]) { n += 1; k += 1; } else if (k < there.length && length[n][k + 1] >= length[n + 1][k]) k += 1; else { own.add(head + n); n += 1; }
  }
  return a.map((line, n) => [line, own.has(n)]);
};

// What is worked out of the words of a desk.
/** The groups of sentences, in the order in which they stand, with the kinds that they hold. The last holds all others, folded. */
export const GROUPS = [
  { id: 'clock', title: 'The clock', kinds: ['clock'], adds: ['clock'] },
  { id: 'boxes', title: 'The boxes', kinds: ['sequencer', 'hits'], adds: ['sequencer'] },
  { id: 'way', title: 'On the way', kinds: ['stage', 'wire'], adds: ['stage', 'wire'] },
  { id: 'fixes', title: 'Fixes', kinds: ['fix'], adds: ['fix'] },
  { id: 'piece', title: 'The piece', kinds: ['top', 'change', 'tempo-map', 'jitter'], adds: [] },
  { id: 'sounds', title: 'Voices and kinds', kinds: [], adds: ['voice', 'component', 'box'] },
];
export const groupOf = (kind) => (GROUPS.find(({ kinds }) => kinds.includes(kind)) ?? GROUPS[GROUPS.length - 1]).id;

/** What a word is known by from one revision to the next. */
export const keyOf = (word) => word.at.join('.') + (word.takes.is === 'more' ? ' more' : '');

/** A word by its key: one that stands in a sentence, or a key behind a `more`. */
export const wordOf = (desk, key) => {
  const own = desk.words.find((word) => keyOf(word) === key);
  if (own) return own;
  for (const word of desk.words) {
    const behind = word.takes.is === 'more' ? word.takes.keys.find((one) => one.at.join('.') === key) : undefined;
    if (behind) return { lights: [], fault: null, changed: false, also: null, ...behind, of: word.of, behind: keyOf(word) };
  }
  return null;
};

/** What a word is called: `phase of slow`, `name of wren`. */
export const calledOf = (word) => {
  const { at } = word;
  if (word.takes.is === 'more') return at.length > 1 ? `more of ${at.slice(1).join(' ')}` : 'more of the piece';
  if (word.takes.is === 'name') return `name of ${at[at.length - 1]}`;
  return at.length > 2 ? `${at.slice(2).join(' ')} of ${at[1]}` : at[at.length - 1];
};

/** Tables that a fix may set keys of. */
const FIXED = ['clock', 'stage', 'wire', 'sequencer', 'voice', 'hits'];
/** The edit that gives a word another value; within the fix of that name where one is at hand. */
export const editOf = (word, value, fix) => {
  if (word.takes.is === 'name') return { do: 'rename', at: word.at, as: value };
  return { do: 'set', at: word.at, to: value, ...(fix && FIXED.includes(word.at[0]) ? { fix } : {}) };
};
/** The edit that takes a key out, so that its default holds; null where there is none to take out. */
export const clearOf = (word, fix) => {
  if (['name', 'more'].includes(word.takes.is) || word.needed || word.value === null || word.value === undefined) return null;
  if (fix && FIXED.includes(word.at[0])) return word.changed ? { do: 'clear', at: word.at, fix } : null;
  return { do: 'clear', at: word.at };
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

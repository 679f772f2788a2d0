// What a cure does to a patch: tried in it, or kept as a fix of it. A cure is `{ name, about, set, one }`, its `set` pairs of a path as a fix
// has it and a value; `one` names the output that must be named as the one.
import { freeName } from './words.mjs';

/** Names that no fix may have. */
const TAKEN = ['original', 'matched'];

const keysOf = (path) => path.split('.');
/** What must be named as the one, where the patch names none. */
const oneOf = (cure, desk) => (cure.one && desk.words.some(({ at, value }) => at.length === 1 && at[0] === 'one' && value === null) ? [{ do: 'set', at: ['one'], to: cure.one }] : []);

/** The edits that make a cure in the patch itself, or in the fix at hand: what is new there is added first. */
export const triedEdits = (cure, desk, fix = null) => {
  const edits = [], brought = new Set();
  for (const [path, value] of cure.set) {
    const at = keysOf(path), sentence = desk.sentences.find(({ id }) => id === at.slice(0, 2).join('.'));
    if (at.length === 2) {
      edits.push(sentence && !sentence.brought ? { do: 'set', at, to: value } : { do: 'add', at, to: value });
      continue;
    }
    // What a kind of box brings is not in the text yet.
    if (sentence?.brought && !fix && !brought.has(sentence.id)) {
      brought.add(sentence.id);
      edits.push(sentence.brought);
    }
    edits.push({ do: 'set', at, to: value, ...(fix ? { fix } : {}) });
  }
  return [...edits, ...oneOf(cure, desk)];
};

/** The name that a cure has as a fix, and the edits that keep it; with a fix at hand, as that fix and the cure. */
export const keptEdits = (cure, desk, fix = null) => {
  const taken = desk.sentences.filter(({ kind }) => kind === 'fix').map(({ name }) => name);
  const name = freeName(cure.name.slice(0, 58), [...taken, ...TAKEN]);
  const about = cure.about ? { about: cure.about } : {};
  if (!fix) return { name, edits: [{ do: 'add', at: ['fix', name], to: { ...about, set: Object.fromEntries(cure.set) } }, ...oneOf(cure, desk)] };
  return {
    name,
    edits: [
      { do: 'duplicate', at: ['fix', fix], as: name },
      ...(cure.about ? [{ do: 'set', at: ['fix', name, 'about'], to: `${fix}, and ${cure.about}` }] : []),
      ...cure.set.map(([path, value]) => ({ do: 'set', at: ['fix', name, 'set', path], to: value })),
      ...oneOf(cure, desk),
    ],
  };
};

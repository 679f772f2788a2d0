// The words of a rig as they were told: who says what it has is told what is new alone.
/** So many are kept: what is on its way stands on one of the last. */
const KEPT = 8;

/** Keeps what was told. */
export const makeTold = () => {
  const all = new Map();
  let last = null;
  return {
    /** What the page has, by the name that the server gave it; null for nothing. */
    has: () => last,
    /** A desk with all its words, of which those that the page had are named by their places there. */
    whole: (desk) => {
      if (!desk?.told) return desk;
      const had = all.get(desk.since);
      if (desk.since && !had) throw new Error(`told on what is not kept: ${desk.since}`);
      const of = (name) => desk[name].flatMap((piece) => (Array.isArray(piece) ? had[name].slice(piece[0], piece[0] + piece[1]) : [piece]));
      const own = { sentences: of('sentences'), words: of('words'), can: desk.can ?? had.can };
      last = desk.told;
      all.delete(last);
      all.set(last, own);
      if (all.size > KEPT) all.delete(all.keys().next().value);
      return { ...desk, ...own };
    },
    /** Nothing is known any more. */
    forget: () => { all.clear(); last = null; },
  };
};

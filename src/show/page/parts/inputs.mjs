// The inputs of a rig, as the words of its desk say them.
/** The inputs that a path leads to, by their names, with the words of the desk that say the path. */
export const inputsOf = (words) => {
  const found = new Map();
  for (const word of words) {
    // The way to the ear begins at no output: it is none.
    if (word.takes?.is !== 'path' || word.takes.from?.length === 0 || word.at[0] !== 'sequencer' || word.at.length !== 3) continue;
    const name = word.at.join('.');
    if (word.value !== null && !found.has(name)) found.set(name, word);
  }
  return found;
};

/** An input as people call it: `wren's clock`. */
export const saidInput = (name) => name.replace(/^sequencer\.(.+)\.(\w+)$/, "$1's $2");

/** The path with one stage more at its end: a path is a text or a list of texts. */
export const withStage = (value, stage) => [...(Array.isArray(value) ? value : [value]), stage];

/** A name that no stage has yet: its own, or with a number. */
export const freeName = (name, taken) => {
  if (!taken.has(name)) return name;
  let n = 2;
  while (taken.has(`${name}-${n}`)) n += 1;
  return `${name}-${n}`;
};

// What a page has of its patch where only one tempo of it is new: the other tempos stay as they were until all is made.
/** Cells of one list of versions in the order of another, by their names; null for a version that is new. */
const inOrder = (cells, before, now) => now.map(({ name }) => cells[before.findIndex((old) => old.name === name)] ?? null);

/** A cell whose hits name players of `before`, with the places that these have in `now`; what played there no longer is left out. */
const replaced = (cell, before, now) => {
  if (cell === null) return null;
  const to = before.map(([name]) => now.findIndex(([other]) => other === name));
  if (to.length === now.length && to.every((n, p) => n === p)) return cell;
  return { ...cell, hits: cell.hits.filter((hit) => to[hit[4]] >= 0).map((hit) => hit.with(4, to[hit[4]])) };
};

/** The data of the page with one tempo anew. `near` is `{ variants, tempo }`, its hits naming voices by their places in a list of which the
 * first is the page's voice number `voices`. Null where the page does not have the tempo; unless it is to be the page's own, which then takes the
 * place of the one before. */
export const withNear = (data, near, voices, own = false) => {
  const listed = data.tempos.findIndex(({ bpm }) => bpm === near.tempo.bpm);
  if (listed < 0 && !own) return null;
  const before = listed < 0 ? [...data.tempos.filter((tempo) => !tempo.own), { ...near.tempo, own: true }] : data.tempos;
  const at = listed < 0 ? before.length - 1 : listed;
  const moved = (cell) => cell && { ...cell, hits: cell.hits.map((hit) => hit.with(1, voices[hit[1]])) };
  const tempos = before.map((tempo, n) => {
    if (n === at) return { ...near.tempo, ...(tempo.own ? { own: true } : {}), cells: near.tempo.cells.map(moved) };
    const cells = inOrder(tempo.cells, data.variants, near.variants);
    return {
      ...tempo,
      cells: cells.map((cell, v) => {
        const old = data.variants.find((variant) => variant.name === near.variants[v].name);
        return old ? replaced(cell, old.players, near.variants[v].players) : cell;
      }),
    };
  });
  return { ...data, variants: near.variants, tempos };
};

/** Other data with the tempo that the page has of its own, if it has one that is not among theirs: `voices` says for each voice of the page its place
 * in theirs, and `offered` are the loops that they have, in bars. */
export const withOwn = (next, data, voices, offered) => {
  const own = data.tempos.find((tempo) => tempo.own);
  if (!own || next.tempos.some(({ bpm }) => bpm === own.bpm)) return next;
  const cells = inOrder(own.cells, data.variants, next.variants).map((cell, v) => {
    const old = data.variants.find((variant) => variant.name === next.variants[v].name);
    const kept = old ? replaced(cell, old.players, next.variants[v].players) : cell;
    return kept && { ...kept, hits: kept.hits.map((hit) => hit.with(1, voices[hit[1]])) };
  });
  const bars = offered.includes(own.bars) ? own.bars : Math.max(offered[0], ...offered.filter((one) => one <= own.bars));
  return { ...next, tempos: [...next.tempos, { ...own, bars, cells }] };
};

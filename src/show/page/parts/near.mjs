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
 * first is the page's voice number `voices`. Null where the page does not have the tempo. */
export const withNear = (data, near, voices) => {
  const at = data.tempos.findIndex(({ bpm }) => bpm === near.tempo.bpm);
  if (at < 0) return null;
  const moved = (cell) => cell && { ...cell, hits: cell.hits.map((hit) => hit.with(1, voices[hit[1]])) };
  const tempos = data.tempos.map((tempo, n) => {
    if (n === at) return { ...near.tempo, cells: near.tempo.cells.map(moved) };
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

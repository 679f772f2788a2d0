// What stays chosen when a patch has changed: things by their names, and not by their places.
/** The place of what is called so, or another. */
const named = (all, name, other) => {
  const n = all.indexOf(name);
  return n < 0 ? other : n;
};

/** The tempo nearest to a number of beats a minute, by their ratio: the ear hears tempos so. */
const nearest = (all, bpm) => {
  const off = all.map((tempo) => Math.abs(Math.log(Number(tempo) / Number(bpm))));
  return off.indexOf(Math.min(...off));
};

/** What is chosen of `next` where `state` was chosen of `data`. `offered` are the loops that `next` has, in bars. A version that is gone is
 * the original; a loop that nobody has chosen is as long as it takes until all repeats. */
export const carried = (data, state, next, offered) => {
  const bpm = data.tempos[state.tempo].bpm;
  const tempos = next.tempos.map((tempo) => tempo.bpm);
  const tempo = named(tempos, bpm, nearest(tempos, bpm));
  let version = named(next.variants.map((variant) => variant.name), data.variants[state.version].name, 0);
  while (version > 0 && next.tempos[tempo].cells[version] === null) version -= 1;
  const own = state.bars !== data.tempos[state.tempo].bars && offered.includes(state.bars);
  return { tempo, version, bars: own ? state.bars : next.tempos[tempo].bars };
};

/** Where in the new loop what sounds goes on: the same place of the bar, and the same bar where there is one. All in seconds but `bars`. */
export const goesOn = (place, bar, newBar, bars) => ((place / bar) % bars) * newBar;

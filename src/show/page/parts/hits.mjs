// What a loop has in it, as lanes and the magnifier show it: hits by their players, and hits that share a beat.

/** Milliseconds to the picosecond, which is how exactly the page holds them: a difference of two has more figures than that. */
export const exact = (ms) => Math.round(ms * 1e9) / 1e9;

/** The hits of a cell's first bars: `{ at, place, due, player, first, gain, voice, bar }` in milliseconds; `place` is where it sounds in the
 * loop, since what is early or late goes round. */
export const hitsOf = (cell, bars, loopMs) =>
  cell.hits.filter((hit) => hit[3] < bars).map(([at, voice, gain, bar, player, due, first]) => (
    { at, place: ((at % loopMs) + loopMs) % loopMs, due, player, first: first === 1, gain, voice, bar }));

/** Hits that are due on one beat, of two players or more, each player's first: `{ due, hits, gap }`, hits in order of time and the gap from
 * the first to the last. In order of their beats. */
export const sharedOf = (hits) => {
  const beats = new Map();
  for (const hit of hits) {
    if (!beats.has(hit.due)) beats.set(hit.due, new Map());
    const players = beats.get(hit.due);
    const before = players.get(hit.player);
    if (!before || hit.at < before.at) players.set(hit.player, hit);
  }
  return [...beats]
    .filter(([, players]) => players.size > 1)
    .map(([due, players]) => {
      const own = [...players.values()].sort((a, b) => a.at - b.at || a.player - b.player);
      return { due, hits: own, gap: exact(own[own.length - 1].at - own[0].at) };
    })
    .sort((a, b) => a.due - b.due);
};

/** Whether a hit sounds more than `half` a beat from where it is due. */
export const isAstray = (hit, half) => Math.abs(exact(hit.at - hit.due)) > half;

/** Of hits that share a beat those that are near it, and the gap from their first to their last: `{ hits, gap }`; null where fewer than
 * two are. Who is far from the beat would hide how far apart the others are. */
export const nearOf = (shared, half) => {
  const hits = shared.hits.filter((hit) => !isAstray(hit, half));
  return hits.length < 2 ? null : { hits, gap: exact(hits[hits.length - 1].at - hits[0].at) };
};

/** The hits that are far from their beat and have room for an arrow that leads there: all of a player's, or where one would lie over
 * another those of step 1 alone. */
export const arrowsOf = (hits, half) => {
  const players = new Map();
  for (const hit of hits) players.set(hit.player, [...(players.get(hit.player) ?? []), hit]);
  return [...players.values()].flatMap((own) => {
    const all = own.filter((hit) => isAstray(hit, half));
    const at = all.map((hit) => hit.at).sort((a, b) => a - b);
    const room = Math.min(...at.slice(1).map((ms, n) => exact(ms - at[n])));
    const clear = all.every((hit) => Math.abs(exact(hit.at - hit.due)) <= room);
    return clear ? all : all.filter((hit) => hit.first);
  });
};

/** The beats of a loop, `[ms, downbeat]`, over all of its bars. */
export const beatsOf = (tempo, bars) =>
  Array.from({ length: bars }, (_, n) => tempo.beats.map(([ms, line]) => [ms + n * tempo.barMs, line === 1])).flat();

/** A loop in stretches of at most so many beats: `[from, to]` in milliseconds. They begin on downbeats where a bar has no more beats than that. */
export const stretchesOf = (beats, loopMs, most) => {
  const out = [];
  for (let n = 0; n < beats.length;) {
    let end = Math.min(n + most, beats.length);
    if (end < beats.length) {
      let line = end;
      while (line > n && !beats[line][1]) line -= 1;
      if (line > n) end = line;
    }
    out.push([out.length ? beats[n][0] : 0, end < beats.length ? beats[end][0] : loopMs]);
    n = end;
  }
  return out;
};

/** Milliseconds as people read them: four figures, and more where it takes them to tell it from nothing or from the max gap. */
export const inMs = (ms, maxGap) => {
  const size = Math.abs(ms);
  const usual = size > 0 ? Math.min(3, Math.max(0, 3 - Math.floor(Math.log10(size)))) : 0;
  for (const places of [usual, 3, 6, 9]) {
    const shown = Number(size.toFixed(places));
    const same = (shown > maxGap) === (size > maxGap) && (shown === 0) === (size === 0);
    if (same) return String(shown);
  }
  return String(size);
};

// What is heard in a trial. All of a trial is one buffer, so that nothing but the mixer decides where hits lie.
const trial = (() => {
  const LEAD = 0.25, TAIL = 0.7;
  // Intervals have equal energy, and then levels by chance: loudness must not give the answer away.
  const ROVE_DB = 3, ROVE_S = 0.04;
  const beat = 60 / data.tempo_bpm;
  const SPACE = Math.max(0.7, Math.min(1.6, 2 * beat));

  /** From -1 to 1, from the browser's own source of chance. */
  const even = () => chance.draw(2000001) / 1000000 - 1;

  /** The hits of one interval: which voice, and when after its beginning. */
  const pair = (gap) => [[-gap / 2, 0], [gap / 2, 1]];
  const intervals = {
    // The split one may be split either way.
    'two-or-one': (gap, asked) => [1, 2, 3].map((n) => pair(n === asked ? gap * (chance.draw(2) ? 1 : -1) : 0)),
    'which-first': (gap, asked) => {
      const one = pair(asked === 1 ? gap : -gap);
      return [[...one, ...one.map(([at, voice]) => [at + SPACE, voice])]];
    },
    // Every beat of the loose bar has its second voice early or late; both occur, or it would be a constant lateness.
    'tight-or-loose': (gap, asked) => [1, 2].map((n) => {
      const early = chance.draw(2);
      return [0, 1, 2, 3].flatMap((k) => {
        const sign = (k % 2) === early ? -1 : 1;
        return pair(n === asked ? sign * gap : 0).map(([at, voice]) => [at + k * beat, voice]);
      });
    }),
  };
  const space = { 'two-or-one': SPACE, 'which-first': 0, 'tight-or-loose': 5 * beat };
  const length = { 'two-or-one': 0, 'which-first': SPACE, 'tight-or-loose': 3 * beat };

  /** A trial: the hits, each with its interval's level, as the mixer takes them, and how long it lasts. */
  const hits = (task, gap, asked) => {
    const all = intervals[task](gap, asked);
    const seconds = LEAD + (all.length - 1) * space[task] + length[task] + TAIL;
    const placed = all.map((interval, n) => {
      const from = LEAD + n * space[task] + ROVE_S * even();
      return interval.map(([at, voice]) => [from + at, data.places[voice][0], data.places[voice][1]]);
    });
    return { placed, seconds };
  };

  /** Samples of a trial. `gap` is in seconds; `asked` counts from 1. */
  const samples = (task, gap, asked) => {
    const { placed, seconds } = hits(task, gap, asked);
    const frames = Math.round(seconds * data.rate);
    const parts = placed.map((own) => engine.mix(voices, own, data.rate, frames, false));
    const out = new Float32Array(frames);
    for (const part of parts) {
      const energy = part.reduce((sum, x) => sum + x * x, 0);
      const factor = Math.pow(10, (ROVE_DB * even()) / 20) * (energy > 0 ? Math.sqrt((data.energy * data.rate * placed[0].length) / 2 / energy) : 0);
      for (let n = 0; n < frames; n += 1) out[n] += factor * part[n];
    }
    // Never clips, whatever the roving: the level of all trials was chosen so that this is rare.
    const peak = out.reduce((most, x) => Math.max(most, Math.abs(x)), 0);
    if (peak > 0.9) for (let n = 0; n < frames; n += 1) out[n] *= 0.9 / peak;
    return out;
  };

  return { hits, samples };
})();

// What is heard in a trial. All of a trial is one buffer, so that nothing but the mixer decides where hits lie.
const trial = (() => {
  const LEAD = 0.25, TAIL = 0.7;
  // Intervals have equal energy, and then levels by chance: loudness must not give the answer away.
  const ROVE_DB = 3, ROVE_S = 0.04;
  const beat = 60 / data.tempo_bpm;
  const SPACE = Math.max(0.7, Math.min(1.6, 2 * beat));

  /** From -1 to 1, from the browser's own source of chance. */
  const even = () => chance.draw(2000001) / 1000000 - 1;

  // The bar of `tight or loose`: a patch's own, or both voices on each of four beats. A hit is its beat, its voice and its
  // accent's factor.
  const bar = data.bar || { beats: 4, hits: [0, 1, 2, 3].flatMap((k) => [[k, 0, 1], [k, 1, 1]]) };

  /** Where the two voices stand in an interval, in halves of the gap. The program has the same rule, and says why it is so. */
  const stands = (task, asked, interval, early) => {
    const order = task === 'which-first';
    const first = (order ? asked === 1 : early) ? -1 : 1;
    return [first, order || interval === asked ? -first : first];
  };

  /** By how much each voice is moved in an interval, in seconds; a coin is thrown for each. */
  const moved = (task, gap, asked, interval) => stands(task, asked, interval, chance.draw(2) === 1).map((halves) => (halves * gap) / 2);
  /** The hits of one interval: when after its beginning, which voice and, unless it is 1, what factor. */
  const pair = (...of) => moved(...of).map((at, voice) => [at, voice]);
  const intervals = {
    'two-or-one': (gap, asked) => [1, 2, 3].map((n) => pair('two-or-one', gap, asked, n)),
    'which-first': (gap, asked) => {
      const one = pair('which-first', gap, asked, 1);
      return [[...one, ...one.map(([at, voice]) => [at + SPACE, voice])]];
    },
    // All of a voice is moved alike: its own beat stays as even as it is written.
    'tight-or-loose': (gap, asked) => [1, 2].map((n) => {
      const off = moved('tight-or-loose', gap, asked, n);
      return bar.hits.map(([at, voice, factor]) => [at * beat + off[voice], voice, factor]);
    }),
  };
  const space = { 'two-or-one': SPACE, 'which-first': 0, 'tight-or-loose': (bar.beats + 1) * beat };
  const length = { 'two-or-one': 0, 'which-first': SPACE, 'tight-or-loose': Math.max(...bar.hits.map(([at]) => at)) * beat };

  /** A trial: the hits, each with its interval's level, as the mixer takes them, and how long it lasts. */
  const hits = (task, gap, asked) => {
    const all = intervals[task](gap, asked);
    const seconds = LEAD + (all.length - 1) * space[task] + length[task] + TAIL;
    const placed = all.map((interval, n) => {
      const from = LEAD + n * space[task] + ROVE_S * even();
      return interval.map(([at, voice, factor = 1]) => [from + at, data.places[voice][0], data.places[voice][1] * factor]);
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
    // A long tail fades out instead of being cut.
    const fade = Math.round(0.05 * data.rate);
    for (let n = 0; n < fade; n += 1) out[frames - 1 - n] *= n / fade;
    // Never clips, whatever the roving: the level of all trials was chosen so that this is rare.
    const peak = out.reduce((most, x) => Math.max(most, Math.abs(x)), 0);
    if (peak > 0.9) for (let n = 0; n < frames; n += 1) out[n] *= 0.9 / peak;
    return out;
  };

  return { stands, hits, samples };
})();

// What is heard in a trial. All of a trial is one buffer, so that nothing but the mixer decides where hits lie.
import { chance } from './chance.mjs';
import { engine } from './engine.mjs';

export const makeTrial = (data, voices) => {
  const LEAD = 0.25, TAIL = 0.7;
  // Intervals are equally loud (K-weighted energy), and then levels by chance: loudness must not give the answer away.
  const ROVE_DB = 3, ROVE_S = 0.04;
  // Steps an octave in which gaps are looked at for the level of a task.
  const LOOKS = 6;
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
  /** The hits of one interval whose voices are moved by so much: when after its beginning, which voice and, unless it is 1,
   * what factor. */
  const pair = (off) => off.map((at, voice) => [at, voice]);
  const interval = {
    'two-or-one': pair,
    'which-first': (off) => [...pair(off), ...pair(off).map(([at, voice]) => [at + SPACE, voice])],
    // All of a voice is moved alike: its own beat stays as even as it is written.
    'tight-or-loose': (off) => bar.hits.map(([at, voice, factor]) => [at * beat + off[voice], voice, factor]),
  };
  const count = { 'two-or-one': 3, 'which-first': 1, 'tight-or-loose': 2 };
  const intervals = (task, gap, asked) =>
    Array.from({ length: count[task] }, (_, n) => interval[task](moved(task, gap, asked, n + 1)));
  const space = { 'two-or-one': SPACE, 'which-first': 0, 'tight-or-loose': (bar.beats + 1) * beat };
  const length = { 'two-or-one': 0, 'which-first': SPACE, 'tight-or-loose': Math.max(...bar.hits.map(([at]) => at)) * beat };

  /** A trial: the hits, each with its interval's level, as the mixer takes them, and how long it lasts. */
  const hits = (task, gap, asked) => {
    const all = intervals(task, gap, asked);
    const seconds = LEAD + (all.length - 1) * space[task] + length[task] + TAIL;
    const placed = all.map((own, n) => {
      const from = LEAD + n * space[task] + ROVE_S * even();
      return place(own, from);
    });
    return { placed, seconds };
  };

  /** The energy of samples as loudness counts it: K-weighted (BS.1770). */
  const loud = (part) => {
    const x = Float64Array.from(part);
    for (const [b0, b1, b2, a1, a2] of data.k) {
      let s = 0, t = 0;
      for (let n = 0; n < x.length; n += 1) {
        const y = b0 * x[n] + s;
        s = b1 * x[n] - a1 * y + t;
        t = b2 * x[n] - a2 * y;
        x[n] = y;
      }
    }
    return x.reduce((sum, v) => sum + v * v, 0);
  };
  const largest = (samples) => samples.reduce((most, x) => Math.max(most, Math.abs(x)), 0);
  /** The hits of one interval as the mixer takes them. */
  const place = (own, from) => own.map(([at, voice, factor = 1]) => [from + at, data.places[voice][0], data.places[voice][1] * factor]);

  const levels = {}, highest = {}, most = {};
  /** How loud every interval of a task is, whatever its gap: so loud that at no gap of the ladder, however it is split, and
   * with no level by chance a peak is nearer to full scale than `headroom_db`. Worked out once a task. */
  const level = (task) => {
    if (levels[task]) return levels[task];
    const { floor, ceiling } = data.staircase;
    const octaves = (ceiling - floor) / 1000000, looks = Math.ceil(octaves * LOOKS);
    const gaps = Array.from({ length: looks + 1 }, (_, n) => Math.pow(2, floor / 1000000 + (octaves * n) / looks) / 1000);
    const frames = Math.round((LEAD + length[task] + TAIL) * data.rate);
    const stands = (gap) => {
      const part = engine.mix(voices, place(interval[task]([-gap / 2, gap / 2]), LEAD), data.rate, frames, false);
      return [largest(part) / Math.sqrt(loud(part)), part];
    };
    const all = [0, ...gaps.flatMap((gap) => [gap, -gap])].map(stands).filter(([peak]) => Number.isFinite(peak));
    const [most, part] = all.reduce((a, b) => (b[0] > a[0] ? b : a), [0, new Float32Array(frames)]);
    levels[task] = most > 0 ? Math.pow(10, -(data.headroom_db + ROVE_DB) / 20) / most : 0;
    highest[task] = part;
    return levels[task];
  };

  /** The interval of a task that peaks highest, as loud as any may be: one and the same each time, so that it is measured once. */
  const loudest = (task) => {
    if (!most[task]) {
      const factor = level(task), part = highest[task], energy = loud(part);
      most[task] = part.map((x) => (energy > 0 ? (x * factor * Math.pow(10, ROVE_DB / 20)) / Math.sqrt(energy) : 0));
    }
    return most[task];
  };

  /** Samples of a trial. `gap` is in seconds; `asked` counts from 1. */
  const samples = (task, gap, asked) => {
    const { placed, seconds } = hits(task, gap, asked);
    const frames = Math.round(seconds * data.rate);
    const parts = placed.map((own) => engine.mix(voices, own, data.rate, frames, false));
    const out = new Float32Array(frames);
    for (const part of parts) {
      const energy = loud(part);
      const factor = energy > 0 ? (Math.pow(10, (ROVE_DB * even()) / 20) * level(task)) / Math.sqrt(energy) : 0;
      for (let n = 0; n < frames; n += 1) out[n] += factor * part[n];
    }
    // A long tail fades out instead of being cut.
    const fade = Math.round(0.05 * data.rate);
    for (let n = 0; n < fade; n += 1) out[frames - 1 - n] *= n / fade;
    return out;
  };

  return { stands, hits, loudest, samples };
};

// How loud a loop is and how high it peaks: ITU-R BS.1770-5, at 48,000 samples a second.

/** The two filters of K-weighting, `[b0, b1, b2, a1, a2]`: BS.1770-5, annex 1, tables 1 and 2. */
const K = [
  [1.53512485958697, -2.69169618940638, 1.19839281085285, -1.69065929318241, 0.73248077421585],
  [1, -2, 1, -1.99004745483398, 0.99007225036621],
];
/** Blocks of 400 ms, three quarters of each in the next; those under −70 LUFS do not count, nor those 10 LU under the rest. */
const BLOCK = 0.4, HOP = 0.1, SILENT = -70, RELATIVE = -10;
/** Samples between samples that a peak is looked for at, and how far the interpolation reaches to each side. */
const OVER = 4, REACH = 12;

/** Runs what goes on bit by bit to its end. */
export const whole = (steps) => {
  let step = steps.next();
  while (!step.done) step = steps.next();
  return step.value;
};

/** The loudness of one channel that both ears get, in LUFS, over all of a loop that goes round; −Infinity for silence. Bit by bit: it pauses
 * after each tenth of a second of the loop. */
export const loudnessSteps = function* loudnessSteps(loop, rate) {
  const [[b0, b1, b2, a1, a2], [c0, c1, c2, d1, d2]] = K;
  let s = 0, t = 0, u = 0, v = 0;
  /** The power of some samples behind both filters. */
  const power = (from, to) => {
    let sum = 0;
    for (let n = from; n < to; n += 1) {
      const x = loop[n], y = b0 * x + s;
      s = b1 * x - a1 * y + t;
      t = b2 * x - a2 * y;
      const z = c0 * y + u;
      u = c1 * y - d1 * z + v;
      v = c2 * y - d2 * z;
      sum += z * z;
    }
    return sum;
  };
  // The loop has gone round before.
  power(loop.length - Math.min(loop.length, rate), loop.length);
  const hop = Math.max(1, Math.round(HOP * rate)), hops = Math.max(1, Math.round(loop.length / hop));
  const within = Math.min(hops, Math.round(BLOCK / HOP));
  const sums = [];
  for (let n = 0; n < hops; n += 1) {
    const from = Math.round((n * loop.length) / hops), to = Math.round(((n + 1) * loop.length) / hops);
    sums.push([power(from, to), to - from]);
    yield;
  }
  const blocks = sums.map((_, n) => {
    let sum = 0, count = 0;
    for (let k = 0; k < within; k += 1) { const [own, samples] = sums[(n + k) % hops]; sum += own; count += samples; }
    // Two channels that play one signal: their powers are added.
    return (2 * sum) / count;
  });
  const lufs = (mean) => -0.691 + 10 * Math.log10(mean);
  const mean = (list) => list.reduce((x, y) => x + y, 0) / list.length;
  const heard = blocks.filter((block) => lufs(block) > SILENT);
  if (!heard.length) return -Infinity;
  const gate = lufs(mean(heard)) + RELATIVE;
  return lufs(mean(heard.filter((block) => lufs(block) > gate)));
};
export const loudnessOf = (loop, rate) => whole(loudnessSteps(loop, rate));

/** Weights that read a signal between two samples: a sinc under a cosine-squared window, by quarters of a sample. */
const rows = Array.from({ length: OVER - 1 }, (_, q) => Array.from({ length: 2 * REACH }, (__, k) => {
  const t = (q + 1) / OVER + REACH - 1 - k;
  return (Math.sin(Math.PI * t) / (Math.PI * t)) * Math.pow(Math.cos((Math.PI * t) / (2 * REACH)), 2);
}));

/** The highest peak of a loop that goes round, between samples too. Bit by bit. */
export const truePeakSteps = function* truePeakSteps(loop) {
  const length = loop.length, SLICE = 1 << 16;
  let peak = 0;
  for (let from = 0; from < length; from += SLICE) {
    const to = Math.min(length, from + SLICE);
    for (let n = from; n < to; n += 1) peak = Math.max(peak, Math.abs(loop[n]));
    yield;
  }
  // Between two samples that are both low nothing rises to twice the highest that was found.
  const near = peak / 2;
  const between = (n) => {
    const round = n < REACH || n + REACH >= length;
    for (const row of rows) {
      let sum = 0;
      for (let k = 0; k < 2 * REACH; k += 1) {
        const at = n + k - REACH + 1;
        sum += row[k] * loop[round ? ((at % length) + length) % length : at];
      }
      peak = Math.max(peak, Math.abs(sum));
    }
  };
  let last = Math.abs(loop[0]);
  for (let from = 0; from < length; from += SLICE / 8) {
    for (let n = from; n < Math.min(length, from + SLICE / 8); n += 1) {
      const next = Math.abs(loop[n + 1 < length ? n + 1 : 0]);
      if (last >= near || next >= near) between(n);
      last = next;
    }
    yield;
  }
  return peak;
};
export const truePeakOf = (loop) => whole(truePeakSteps(loop));

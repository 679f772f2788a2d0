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

/** What filters make of a loop that has gone round before. */
const weighted = (loop, rate) => {
  const before = Math.min(loop.length, rate);
  const out = new Float64Array(loop.length);
  for (let n = 0; n < loop.length; n += 1) out[n] = loop[n];
  for (const [b0, b1, b2, a1, a2] of K) {
    let s = 0, t = 0;
    const step = (x) => {
      const y = b0 * x + s;
      s = b1 * x - a1 * y + t;
      t = b2 * x - a2 * y;
      return y;
    };
    for (let n = loop.length - before; n < loop.length; n += 1) step(out[n]);
    for (let n = 0; n < loop.length; n += 1) out[n] = step(out[n]);
  }
  return out;
};

/** The loudness of one channel that both ears get, in LUFS, over all of a loop that goes round; −Infinity for silence. */
export const loudnessOf = (loop, rate) => {
  const power = weighted(loop, rate);
  const hop = Math.max(1, Math.round(HOP * rate)), hops = Math.max(1, Math.round(loop.length / hop));
  const within = Math.min(hops, Math.round(BLOCK / HOP));
  const sums = Array.from({ length: hops }, (_, n) => {
    const from = Math.round((n * loop.length) / hops), to = Math.round(((n + 1) * loop.length) / hops);
    let sum = 0;
    for (let k = from; k < to; k += 1) sum += power[k] * power[k];
    return [sum, to - from];
  });
  const blocks = sums.map((_, n) => {
    let sum = 0, count = 0;
    for (let k = 0; k < within; k += 1) { const [s, c] = sums[(n + k) % hops]; sum += s; count += c; }
    // Two channels that play one signal: their powers are added.
    return (2 * sum) / count;
  });
  const lufs = (mean) => -0.691 + 10 * Math.log10(mean);
  const mean = (list) => list.reduce((a, b) => a + b, 0) / list.length;
  const heard = blocks.filter((block) => lufs(block) > SILENT);
  if (!heard.length) return -Infinity;
  const gate = lufs(mean(heard)) + RELATIVE;
  return lufs(mean(heard.filter((block) => lufs(block) > gate)));
};

/** Weights that read a signal between two samples: a sinc under a cosine-squared window, by quarters of a sample. */
const rows = Array.from({ length: OVER - 1 }, (_, q) => Array.from({ length: 2 * REACH }, (__, k) => {
  const t = (q + 1) / OVER + REACH - 1 - k;
  return (Math.sin(Math.PI * t) / (Math.PI * t)) * Math.pow(Math.cos((Math.PI * t) / (2 * REACH)), 2);
}));

/** The highest peak of a loop that goes round, between samples too. */
export const truePeakOf = (loop) => {
  const length = loop.length;
  let peak = 0;
  for (let n = 0; n < length; n += 1) peak = Math.max(peak, Math.abs(loop[n]));
  // Between two samples that are both low nothing rises to twice the highest that was found.
  const near = peak / 2;
  for (let n = 0; n < length; n += 1) {
    if (Math.abs(loop[n]) < near && Math.abs(loop[(n + 1) % length]) < near) continue;
    for (const row of rows) {
      let sum = 0;
      for (let k = 0; k < 2 * REACH; k += 1) sum += row[k] * loop[(((n + k - REACH + 1) % length) + length) % length];
      peak = Math.max(peak, Math.abs(sum));
    }
  }
  return peak;
};

// How likely every gap, slope and lapse rate is after some answers. Sums, products and quotients alone, in the order in which the
// program takes them (ear/posterior, ear/prior, where the figures come from): both come to the same bits.
export const posterior = (() => {
  const SLOPES = [[0.5, 100], [0.7, 237], [1, 474], [1.4, 742], [2, 957], [2.8, 989], [4, 822], [5.6, 561], [8, 300], [11, 142]];
  const LAPSES = [[0.005, 40], [0.02, 30], [0.045, 20], [0.08, 10]];
  const CURVES = SLOPES.length * LAPSES.length, LOWEST = -3000000, STEP = 100000, GAPS = 111;
  const gap = (n) => LOWEST + STEP * n;

  /** The natural exponential by its series: what `Math.exp` gives is the browser's own. */
  const exp = (x) => {
    const y = x / 1024;
    let sum = 1;
    for (let n = 8; n >= 1; n -= 1) sum = 1 + (y * sum) / n;
    for (let n = 0; n < 10; n += 1) sum *= sum;
    return sum;
  };

  /** Before there is an answer: of the gap at which `share` of the answers are right, where guessing gives `guess`. */
  const begin = (guess, share) => {
    const curves = [], prior = [];
    for (const [slope, often] of SLOPES) {
      for (const [lapse, seldom] of LAPSES) {
        const high = 1 - guess - lapse, f = (share - guess) / high;
        curves.push([slope, high, (1 - f) / f]);
        prior.push(often * seldom);
      }
    }
    const whole = prior.reduce((sum, w) => sum + w, 0) * GAPS;
    const weights = new Float64Array(GAPS * CURVES);
    for (let n = 0; n < weights.length; n += 1) weights[n] = prior[n % CURVES] / whole;
    return { guess, curves, weights, against: 1 };
  };

  const shares = new Float64Array(CURVES);
  /** The share of right answers that each curve has so many millionths of an octave above its gap: till it is asked for again. */
  const right = (p, above) => {
    const ln = above * (Math.LN2 / 1000000);
    for (let from = 0; from < CURVES; from += LAPSES.length) {
      // Lapses leave the slope as it is.
      const falls = exp(-(p.curves[from][0] * ln));
      for (let at = from; at < from + LAPSES.length; at += 1) shares[at] = p.guess + p.curves[at][1] / (1 + p.curves[at][2] * falls);
    }
    return shares;
  };

  /** Takes an answer; `p` is changed. */
  const answer = (p, level, good) => {
    let sum = 0;
    for (let n = 0, at = 0; n < GAPS; n += 1) {
      const own = right(p, level - gap(n));
      for (let curve = 0; curve < CURVES; curve += 1, at += 1) {
        p.weights[at] *= good ? own[curve] : 1 - own[curve];
        sum += p.weights[at];
      }
    }
    for (let at = 0; at < p.weights.length; at += 1) p.weights[at] /= sum;
    p.against *= sum / (good ? p.guess : 1 - p.guess);
  };

  /** How likely each gap is. */
  const gaps = (p) => Array.from({ length: GAPS }, (_, n) => {
    let sum = 0;
    for (let at = n * CURVES; at < (n + 1) * CURVES; at += 1) sum += p.weights[at];
    return sum;
  });

  /** The gap below which a share of what is likely lies: millionths of an octave. */
  const quantile = (p, of) => {
    let sum = 0;
    const all = gaps(p);
    for (let n = 0; n < GAPS; n += 1) {
      if (sum + all[n] >= of) return gap(n) + ((of - sum) / all[n] - 0.5) * STEP;
      sum += all[n];
    }
    return gap(GAPS - 1);
  };
  const between = (p) => [quantile(p, 0.025), quantile(p, 0.975)];

  /** How likely it is that the gap is larger than one. */
  const above = (p, level) => gaps(p).reduce((sum, w, n) => (gap(n) > level ? sum + w : sum), 0);

  return { CURVES, LOWEST, STEP, GAPS, begin, right, answer, gaps, quantile, between, above };
})();

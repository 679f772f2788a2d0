// The threshold of a session, as the program finds it: where the likeliest logistic curve reaches the rule's target, and all
// gaps that the answers leave likely. Beside each figure the program says where it comes from (ear/fit, ear/profile, ear/estimate).
export const curve = (() => {
  const LAPSE_MOST = 0.06, SLOPE = [0.3, 8].map(Math.log), CRITICAL = 6, GAIN = 16.27;
  const AT_END = 0.2, END = 500000, TURNS = 8, LN_4 = Math.log(4);

  /** Answers gap by gap. */
  const points = (trials) => {
    const all = new Map();
    for (const { level, asked, answered } of trials) {
      const point = all.get(level) ?? { ln: (level / 1000000) * Math.LN2, right: 0, wrong: 0 };
      if (asked === answered) point.right += 1; else point.wrong += 1;
      all.set(level, point);
    }
    return [...all.values()];
  };

  /** How likely answers are, where a share as a function of the logarithm of the gap says how likely a right one is. */
  const likelihood = (share, of) => of.reduce((sum, p) => {
    const s = Math.min(1 - 1e-9, Math.max(1e-9, share(p.ln)));
    return sum + p.right * Math.log(s) + p.wrong * Math.log1p(-s);
  }, 0);

  /** How likely the answers are if `target` of them are right at a gap: with the slope and lapse rate that suit them best. */
  const profile = (ln, target, guess, of) => {
    const value = (lnSlope, rate) => {
      const slope = Math.exp(Math.min(SLOPE[1], Math.max(SLOPE[0], lnSlope))), lapse = Math.min(LAPSE_MOST, Math.max(0, rate));
      const high = 1 - guess - lapse, f = (target - guess) / high;
      if (!(f > 0 && f < 1)) return -Infinity;
      const middle = ln - Math.log(f / (1 - f)) / slope;
      return likelihood((at) => guess + high / (1 + Math.exp(-slope * (at - middle))), of);
    };
    // A net over all slopes, by ratio, and lapse rates; then thrice a finer one around the best knot.
    let best = [-Infinity, (SLOPE[0] + SLOPE[1]) / 2, LAPSE_MOST / 2];
    let knots = 30, wide = (SLOPE[1] - SLOPE[0]) / 2, high = LAPSE_MOST / 2;
    for (let round = 0; round < 4; round += 1) {
      const [, slope, lapse] = best;
      for (let n = 0; n <= knots; n += 1) {
        for (let k = 0; k <= 4; k += 1) {
          const at = [slope + wide * ((2 * n) / knots - 1), lapse + high * (k / 2 - 1)];
          const found = value(...at);
          if (found > best[0]) best = [found, ...at];
        }
      }
      wide = (wide * 2) / knots;
      high /= 2;
      knots = 8;
    }
    return best[0];
  };

  /** The likeliest gap at the target, and the ends of those that are likely: logarithms. */
  const fit = (target, guess, of) => {
    const asked = of.map((p) => p.ln);
    const low = Math.min(...asked) - LN_4, high = Math.max(...asked) + LN_4;
    const value = (ln) => profile(ln, target, guess, of);
    let best = [-Infinity, low], step = (high - low) / 60;
    const look = (from, to) => {
      for (let ln = from; ln <= to + 1e-9; ln += step) {
        const found = value(ln);
        if (found > best[0]) best = [found, ln];
      }
    };
    look(low, high);
    for (let round = 0; round < 3; round += 1) {
      const [, at] = best, wide = step;
      step /= 6;
      look(Math.max(low, at - wide), Math.min(high, at + wide));
    }
    const [most, at] = best;
    const within = (ln) => 2 * (most - value(ln)) <= CRITICAL;
    const end = (by, last) => {
      let inside = at;
      while (within(inside + by)) {
        inside += by;
        if ((inside - last) * by >= 0) return last;
      }
      let outside = inside + by;
      for (let n = 0; n < 8; n += 1) {
        const middle = (inside + outside) / 2;
        if (within(middle)) inside = middle; else outside = middle;
      }
      return inside;
    };
    return { at, most, between: [end(-0.1, Math.min(low, at)), end(0.1, Math.max(high, at))] };
  };

  /** What a session comes to: `ms` and the two ends of `between`, or `none`: `ceiling`, `floor`, `short` or `guessing`. `guess` is
   * the share of right answers that guessing gives, `target` where the rule settles; `tracks` are the walked staircases. */
  const estimate = ({ trials, staircase: settings }, tracks, guess, target) => {
    const own = trials.filter((t) => !t.catch), late = own.slice(Math.floor(own.length / 2));
    const near = (level) => late.filter((t) => Math.abs(t.level - level) <= END).length / Math.max(1, late.length);
    if (near(settings.ceiling) > AT_END) return { none: 'ceiling' };
    if (near(settings.floor) > AT_END) return { none: 'floor' };
    const turns = Math.min(...tracks.map((t) => Math.max(0, t.turns.length - settings.large_turns)));
    if (turns < Math.min(TURNS, settings.turns)) return { none: 'short' };
    const of = points(trials);
    const { at, most, between } = fit(target, guess, of);
    if (2 * (most - likelihood(() => guess, of)) < GAIN) return { none: 'guessing' };
    return { ms: Math.exp(at), between: between.map(Math.exp) };
  };

  return { estimate };
})();

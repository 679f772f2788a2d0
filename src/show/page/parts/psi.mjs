// A session in which each gap is asked for where an answer tells most of the threshold. The program that reads sessions walks the
// same one (ear/psi, where the method's sources stand), and refuses a file whose levels are not those.
import { posterior } from './posterior.mjs';

export const psi = (() => {
  const { CURVES, LOWEST, STEP, GAPS } = posterior;
  // Gaps less likely than this are left out where the next level is looked for.
  const LIKELY = 1e-9;
  const AGAINST_GUESSING = 1000, LEAST = 20, AT_END = 0.2, END = 500000;
  const target = (settings) => settings.target / 10000;

  /** The level whose answer tells most; of several the smallest. */
  const next = (settings, s) => {
    const gaps = posterior.gaps(s.likely), { weights } = s.likely, reach = s.table.length / CURVES;
    let mean = 0;
    gaps.forEach((weight, n) => { mean += weight * n; });
    let best = settings.floor, most = -1;
    for (let place = 0; place <= (settings.ceiling - settings.floor) / STEP; place += 1) {
      // How likely a right answer is, and that times the gap.
      let right = 0, moment = 0;
      for (let n = 0; n < GAPS; n += 1) {
        if (gaps[n] < LIKELY) continue;
        let share = 0;
        const from = n * CURVES, at = place + GAPS - 1 - n;
        for (let curve = 0; curve < CURVES; curve += 1) share += weights[from + curve] * s.table[curve * reach + at];
        right += share;
        moment += share * n;
      }
      // The variance between what a right and a wrong answer leave: that which the answer takes away.
      const off = moment - right * mean, told = (off * off) / (right * (1 - right));
      if (told > most) {
        most = told;
        best = settings.floor + STEP * place;
      }
    }
    return best;
  };

  /** At its beginning; `guess` is the share of right answers that guessing gives. */
  const begin = (settings, guess) => {
    const likely = posterior.begin(guess, target(settings));
    const reach = GAPS + (settings.ceiling - settings.floor) / STEP, lowest = settings.floor - (LOWEST + STEP * (GAPS - 1));
    const table = new Float64Array(CURVES * reach);
    for (let place = 0; place < reach; place += 1) posterior.right(likely, lowest + STEP * place).forEach((share, curve) => { table[curve * reach + place] = share; });
    const s = { likely, table, trials: 0 };
    s.level = next(settings, s);
    return s;
  };

  /** How wide the 95 % interval is: millionths of an octave. */
  const width = (s) => {
    const [low, high] = posterior.between(s.likely);
    return high - low;
  };
  const done = (settings, s) => s.trials >= settings.most_trials || (s.trials >= settings.least_trials && width(s) <= settings.narrow);

  /** Takes an answer, to a plain one that was slipped in too; `s` is changed. */
  const answer = (settings, s, level, right) => {
    s.trials += 1;
    posterior.answer(s.likely, level, right);
    s.level = next(settings, s);
  };

  /** About how many trials it takes yet: the width falls with the root of their number. */
  const left = (settings, s) => {
    const most = settings.most_trials - s.trials;
    if (s.trials < LEAST) return most;
    const ratio = width(s) / settings.narrow;
    return Math.max(1, Math.min(most, Math.max(settings.least_trials - s.trials, Math.ceil(s.trials * (ratio * ratio - 1)))));
  };

  const ms = (octave) => Math.pow(2, octave / 1000000);
  /** What it comes to by now: `ms` and the ends of `between`, how `wide`, or `none`: `ceiling`, `floor`, `short` or `guessing`. */
  const estimate = (settings, s) => {
    if (s.trials < LEAST) return { none: 'short' };
    if (posterior.above(s.likely, settings.ceiling - END) > AT_END) return { none: 'ceiling' };
    if (1 - posterior.above(s.likely, settings.floor + END) > AT_END) return { none: 'floor' };
    if (s.likely.against < AGAINST_GUESSING) return { none: 'guessing' };
    return { ms: ms(posterior.quantile(s.likely, 0.5)), between: posterior.between(s.likely).map(ms), wide: ms(width(s)) };
  };

  return { target, begin, width, done, answer, left, estimate };
})();

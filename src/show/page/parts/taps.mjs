// A tempo by tapping: the slope of the line through all taps of one run, so that one late tap moves it little.
/** After so long without a tap a new run begins; so many taps are looked at. */
const PAUSE_MS = 2500, MOST = 12;

/** The run with a tap more, in milliseconds. */
export const tapped = (run, at) => {
  const last = run[run.length - 1];
  // Longer than a run's own beat twice over, a beat was left out, or it is another tempo.
  const beat = run.length > 1 ? (last - run[0]) / (run.length - 1) : PAUSE_MS / 2;
  return last === undefined || at - last > Math.min(PAUSE_MS, 2 * beat) || at <= last ? [at] : [...run, at].slice(-MOST);
};

/** Beats a minute by the line of least squares through a run; null for fewer than two taps. */
export const tempoOf = (run) => {
  const n = run.length;
  if (n < 2) return null;
  const middle = (n - 1) / 2, mean = run.reduce((sum, at) => sum + at, 0) / n;
  let across = 0, along = 0;
  run.forEach((at, k) => {
    across += (k - middle) * (at - mean);
    along += (k - middle) ** 2;
  });
  return 60000 / (across / along);
};

/** As a patch would have it: whole, and a half where the taps are many enough to tell. */
export const roundTempo = (bpm, taps) => Math.min(1000, Math.max(1, taps >= 8 ? Math.round(bpm * 2) / 2 : Math.round(bpm)));

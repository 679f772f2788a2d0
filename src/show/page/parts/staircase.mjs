// The staircase of a session, in whole numbers: millionths of an octave above 1 ms. The program that reads sessions walks
// the same one, and refuses a file whose levels are not those.
export const staircase = (() => {
  const WHOLE = 10000;
  const begin = (settings) => ({ level: settings.start, right: 0, up: null, turns: [], trials: 0 });
  const done = (settings, s) => s.turns.length >= settings.large_turns + settings.turns || s.trials >= settings.most_trials;

  /** Takes an answer; `s` is changed. */
  const answer = (settings, s, right) => {
    if (done(settings, s)) return;
    s.trials += 1;
    s.right = right ? s.right + 1 : 0;
    if (right && s.right < settings.down) return;
    s.right = 0;
    const up = !right;
    if (s.up !== null && s.up !== up) s.turns.push(s.level);
    s.up = up;
    const step = s.turns.length < settings.large_turns ? settings.large_step : settings.small_step;
    const moved = up ? step : -((step / WHOLE) * settings.ratio);
    s.level = Math.max(settings.floor, Math.min(settings.ceiling, s.level + moved));
  };

  /** The share of right answers at which a rule settles. */
  const target = (settings) => Math.pow(1 / (1 + settings.ratio / WHOLE), 1 / settings.down);

  return { begin, done, answer, target };
})();

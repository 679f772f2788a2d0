// What guessing does: the exact one-sided binomial probability of being right as often, or more often, by chance.
export const chance = (() => {
  /** P(right or more of n) where each guess is right with probability `guess`. */
  const atLeast = (right, n, guess = 0.5) => {
    let term = Math.pow(1 - guess, n), sum = 0;
    for (let k = 0; k <= n; k += 1) {
      if (k >= right) sum += term;
      term = (term * (n - k) * (guess / (1 - guess))) / (k + 1); // in this order a fair coin's terms are exact
    }
    return Math.min(1, sum);
  };

  /** How often at least one of `tests` guessed tests comes out as well as one in which guessing does so with `p`. */
  const bestOf = (p, tests) => (tests < 2 ? p : -Math.expm1(tests * Math.log1p(-p)));

  /** A whole number from 0 to below `n`, each as likely as any other, from the browser's own source of chance. */
  const draw = (n) => {
    const most = Math.floor(4294967296 / n) * n;
    const box = new Uint32Array(1);
    do crypto.getRandomValues(box); while (box[0] >= most);
    return box[0] % n;
  };

  /** A share as people read it: 3.8 %, under 0.1 %. */
  const percent = (p) => (p < 0.001 ? 'under 0.1 %' : `${(100 * p).toFixed(p < 0.1 ? 1 : 0)} %`);

  return { atLeast, bestOf, draw, percent };
})();

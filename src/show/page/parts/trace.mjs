// The trace of a listener's own gap: one mark an answer, from wide gaps above to small ones below.
export const trace = (() => {
  const TICKS = [0.25, 0.5, 1, 2, 5, 10, 20, 50, 100], LEAST = 20;
  const LEFT = 52, RIGHT = 10, TOP = 12, BOTTOM = 26, RADIUS = 4;
  const octaves = (ms) => Math.log2(ms) * 1000000;

  /** The answers to draw, of each staircase by itself: plain ones that were slipped in have no place in it. */
  const answers = (trials) => trials.filter((t) => !t.catch)
    .map(({ track, level, asked, answered }, n) => ({ n: n + 1, track, level, right: asked === answered }));

  /** The smallest gap that was told `down` times in a row, as its staircase counts; null before there is one. */
  const best = (of, down) => {
    const rows = {};
    let least = null;
    for (const { track, level, right } of of) {
      rows[track] = right ? (rows[track] ?? 0) + 1 : 0;
      if (rows[track] === down) {
        rows[track] = 0;
        least = least === null ? level : Math.min(least, level);
      }
    }
    return least;
  };

  /** Where everything stands in a picture of so many units: marks, lines a staircase, ticks, the line of the best gap. */
  const places = (of, down, width, height) => {
    const levels = of.map((a) => a.level);
    const low = Math.min(...levels, octaves(4)) - 400000, high = Math.max(...levels, octaves(16)) + 400000;
    const y = (level) => TOP + ((high - level) / (high - low)) * (height - TOP - BOTTOM);
    const x = (n) => LEFT + ((n - 0.5) / Math.max(LEAST, of.length)) * (width - LEFT - RIGHT);
    const least = best(of, down);
    const marks = of.map((a) => ({ x: x(a.n), y: y(a.level), right: a.right, track: a.track }));
    return {
      marks,
      lines: [0, 1].map((track) => marks.filter((m) => m.track === track)).filter((line) => line.length > 1),
      ticks: TICKS.filter((ms) => octaves(ms) > low && octaves(ms) < high).map((ms) => ({ ms, y: y(octaves(ms)) })),
      best: least === null ? null : { level: least, y: y(least) },
    };
  };

  const made = (name, attributes, words = '') => {
    const element = document.createElementNS('http://www.w3.org/2000/svg', name);
    Object.entries(attributes).forEach(([key, value]) => element.setAttribute(key, value));
    element.textContent = words;
    return element;
  };

  /** Draws the answers into a picture; `about` writes a gap. */
  const draw = (svg, of, down, about) => {
    const width = Math.max(280, svg.clientWidth || 600), height = 220;
    const { marks, lines, ticks, best: least } = places(of, down, width, height);
    svg.setAttribute('viewBox', `0 0 ${width} ${height}`);
    const parts = ticks.flatMap(({ ms, y }) => [
      made('line', { class: 'tick', x1: LEFT, x2: width - RIGHT, y1: y, y2: y }),
      made('text', { x: LEFT - 8, y: y + 4, 'text-anchor': 'end' }, `${ms} ms`),
    ]);
    parts.push(made('text', { x: LEFT, y: height - 6 }, `${of.length} answers`));
    if (least) {
      parts.push(made('line', { class: 'best', x1: LEFT, x2: width - RIGHT, y1: least.y, y2: least.y }));
      parts.push(made('text', { class: 'best', x: LEFT + 6, y: least.y + 16 }, `best so far ${about(Math.pow(2, least.level / 1000000))} ms`));
    }
    lines.forEach((line) => parts.push(made('polyline', { points: line.map((m) => `${m.x},${m.y}`).join(' ') })));
    marks.forEach((m) => parts.push(m.track === 0
      ? made('circle', { class: m.right ? 'right' : 'wrong', cx: m.x, cy: m.y, r: RADIUS })
      : made('rect', { class: m.right ? 'right' : 'wrong', x: m.x - RADIUS, y: m.y - RADIUS, width: 2 * RADIUS, height: 2 * RADIUS })));
    svg.replaceChildren(...parts);
    const ms = (level) => `${about(Math.pow(2, level / 1000000))} ms`;
    const last = of[of.length - 1];
    svg.setAttribute('aria-label', last
      ? `Your gap over ${of.length} answers: from ${ms(of[0].level)} to ${ms(last.level)}${least ? `, best ${ms(least.level)}` : ''}.`
      : 'Your gap, once there are answers.');
  };

  return { answers, best, places, draw };
})();

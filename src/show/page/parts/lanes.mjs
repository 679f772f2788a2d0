// A lane a box: its pattern over the loop, each hit where it sounds, and a playhead that is where the sound is.
import { arrowsOf, beatsOf, exact, hitsOf, inMs, isAstray, nearOf, sharedOf, stretchesOf } from './hits.mjs';
import { sound } from './sound.mjs';

const SVG = 'http://www.w3.org/2000/svg';
const draw = (name, attributes, parent, words) => {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, typeof value === 'number' ? String(Math.round(value * 100) / 100) : value);
  if (words !== undefined) element.textContent = words;
  if (parent) parent.append(element);
  return element;
};

/** The least room for a beat, and the room for names beside lanes that are so wide. */
const BEAT = 34, NAMES = 132, WIDE = 620;
/** Heights: the head with its beats, a lane, a lane with its name above it. */
const HEAD = 34, LANE = 50, NAMED = 66;

export const makeLanes = ({ root, $, data, state, cell, loopSeconds, text, changed }, zoom) => {
  const place = $('lanes');
  /** Places of their own, by the names of players, and the one of the beats above them all; without any, all lanes are one picture. */
  let own = new Map(), ruler = null;
  const still = matchMedia('(prefers-reduced-motion: reduce)');
  let scene = null, stretch = -1, marks = [], heads = [], before = null, stale = true;

  /** All that is drawn of the version at hand, worked out once. */
  const look = () => {
    const tempo = data.tempos[state.tempo];
    const ms = loopSeconds(state.tempo, state.bars) * 1000;
    const hits = hitsOf(cell(), state.bars, ms);
    const beats = beatsOf(tempo, state.bars);
    const width = (ruler ?? place).clientWidth;
    const beside = !ruler && width >= WIDE;
    const left = beside ? NAMES : ruler ? 10 : 4, room = width - left - 8;
    const most = Math.max(1, Math.floor(room / BEAT));
    // Further from a beat than this is no gap, but another place.
    const half = beats.length > 1 ? (beats[1][0] - beats[0][0]) / 2 : Infinity;
    return { ms, hits, beats, half, arrows: new Set(arrowsOf(hits, half)), shared: sharedOf(hits), players: data.variants[state.version].players, width, beside, left, room, stretches: stretchesOf(beats, ms, most) };
  };

  /** Where the widest gap of the piece is not in this loop, by more than a tenth of a millisecond: what is. */
  const elsewhere = () => {
    const { gapMs } = cell(), here = Math.max(0, ...scene.shared.map((s) => s.gap)), maxGap = Number(data.maxGap);
    if (gapMs === null || Math.abs(gapMs) - here < 0.1) return '';
    return ` The widest gap of the piece, ${inMs(Math.abs(gapMs), maxGap)} ms, does not come in this loop: here it is ${inMs(here, maxGap)} ms.`;
  };
  /** What a lane's box is doing, for those who do not see it. */
  const told = () => {
    const wide = scene.shared.filter((s) => s.gap > Number(data.maxGap));
    const each = scene.players.map(([name], n) => `${name} ${scene.hits.filter((h) => h.player === n).length}`).join(', ');
    const apart = wide.length === 0 ? `All ${scene.shared.length} shared hits are within ${data.maxGap} ms`
      : `${wide.length} of ${scene.shared.length} shared hits are more than ${data.maxGap} ms apart`;
    // What the marks mean, of those that are there.
    const far = scene.hits.filter((hit) => isAstray(hit, scene.half));
    const hollow = far.length === 0 ? '' : scene.arrows.size === far.length ? ' A hollow note is off its beat: the arrow comes from there.'
      : scene.arrows.size ? ' A hollow note is off its beat: the arrow to step 1 comes from there, the others would lie over each other.' : ' A hollow note is off its beat.';
    const shaded = scene.shared.some((s) => (nearOf(s, scene.half)?.gap ?? 0) > Number(data.maxGap)) ? ' Shaded: the time between hits of one beat; a beat that one box plays alone has none.' : '';
    if (cell().state === 'off the one' && wide.length) {
      const most = inMs(Math.max(...wide.map((s) => s.gap)), Number(data.maxGap));
      return `Hits in the loop: ${each}. Hits that belong together are up to ${most} ms apart: what sounds at once here belongs to different beats.${hollow}${shaded}`;
    }
    return `Hits in the loop: ${each}. ${scene.shared.length ? apart : 'No two hits share a beat'}.${hollow}${shaded}`;
  };

  /** What is drawn where: pictures with the players whose lanes they hold, and whether beats are numbered above. */
  const sheetsOf = (players, lane) => {
    const numbers = players.map((_, p) => p);
    const sheet = (to, held, head) => ({ to, held, head, top: head ? HEAD : 0, height: (head ? HEAD : 0) + held.length * lane + 6 });
    if (!ruler) return [sheet(place, numbers, true)];
    const others = numbers.filter((p) => !own.has(players[p][0]));
    const apart = numbers.filter((p) => own.has(players[p][0])).map((p) => sheet(own.get(players[p][0]), [p], false));
    return [sheet(ruler, [], true), ...apart, sheet(place, others, false)];
  };

  const paint = (n) => {
    stretch = n;
    marks = [];
    const { hits, beats, half, shared, arrows, players, width, beside, left, room, stretches } = scene;
    const [from, to] = stretches[n];
    const lane = beside || ruler ? LANE : NAMED;
    const x = (ms) => left + ((ms - from) / (to - from)) * room;
    const inside = (ms) => ms >= from && ms < to;
    const sheets = sheetsOf(players, lane);
    const holder = new Map();
    for (const sheet of sheets) {
      const { height, head, top } = sheet;
      sheet.svg = draw('svg', { viewBox: `0 0 ${width} ${height}`, width, height });
      sheet.free = -Infinity;
      sheet.held.forEach((p, row) => holder.set(p, { sheet, y: top + (row + 1) * lane - 10 }));
      // Bars and beats, numbered as they are counted.
      let bar = 0, beat = 0;
      for (const [ms, line] of beats) {
        if (line) { bar += 1; beat = 1; } else { beat += 1; }
        if (!inside(ms)) continue;
        draw('line', { x1: x(ms), x2: x(ms), y1: head ? HEAD - 8 : 0, y2: ruler ? height : height - 6, class: line ? 'barline' : 'beat' }, sheet.svg);
        // Where beats are close, bars alone are numbered.
        if (!head || (!line && (room / (to - from)) * 2 * half < 46)) continue;
        draw('text', { x: x(ms) + 4, y: HEAD - 14, class: line ? 'count one' : 'count' }, sheet.svg, line ? (beats.length > 1 && state.bars > 1 ? `bar ${bar}` : '1') : String(beat));
      }
    }
    const base = (player) => holder.get(player).y;
    const svgOf = (player) => holder.get(player).sheet.svg;
    players.forEach(([name, pattern], p) => {
      const y = base(p), svg = svgOf(p);
      draw('line', { x1: left, x2: left + room, y1: y, y2: y, class: 'staff' }, svg);
      // A lane below its box's own sentence needs no name.
      if (own.has(name) && ruler) return;
      const short = pattern.length > 16 ? `${pattern.slice(0, 15)}…` : pattern;
      if (beside) {
        draw('text', { x: 0, y: y - 14, class: 'box' }, svg, name.length > 15 ? `${name.slice(0, 14)}…` : name);
        draw('text', { x: 0, y: y + 3, class: 'pattern' }, svg, short);
      } else {
        const label = draw('text', { x: left, y: y - (ruler ? 30 : 42), class: 'box' }, svg, name);
        draw('tspan', { dx: 8, class: 'pattern' }, label, short);
      }
    });
    // What should be one and is not: the stretch of time between, over the lanes of those who play it.
    for (const one of shared) {
      const near = nearOf(one, half);
      if (near === null || near.gap <= Number(data.maxGap) || !inside(near.hits[0].place)) continue;
      const first = near.hits[0], last = near.hits[near.hits.length - 1];
      const wide = Math.max(3, (near.gap / (to - from)) * room);
      for (const sheet of new Set(near.hits.map((h) => holder.get(h.player).sheet))) {
        const lanes = near.hits.filter((h) => holder.get(h.player).sheet === sheet).map((h) => base(h.player));
        const top = ruler ? 0 : Math.min(...lanes) - 34, bottom = ruler ? sheet.height : Math.max(...lanes) + 4;
        const group = draw('g', { class: 'apart' }, sheet.svg);
        draw('rect', { x: x(first.place) - 1, y: top, width: wide + 2, height: bottom - top, rx: ruler ? 0 : 2 }, group);
        draw('rect', { x: x(first.place) - 8, y: top, width: wide + 16, height: bottom - top, class: 'touch' }, group);
        group.addEventListener('click', () => zoom.choose(one));
        // Said once, in the lane of who comes last.
        if (holder.get(last.player).sheet !== sheet) continue;
        const words = `${inMs(near.gap, Number(data.maxGap))} ms`;
        if (x(first.place) > sheet.free) {
          const at = x(first.place) + wide + (near.hits.some((h) => h.first) ? 12 : 5);
          draw('text', { x: at, y: Math.min(...lanes) - 25, class: 'figure' }, group, words);
          sheet.free = at + 4 + words.length * 7;
        }
      }
    }
    for (const hit of hits) {
      if (!inside(hit.place)) continue;
      const y = base(hit.player), at = x(hit.place), svg = svgOf(hit.player);
      const tall = 14 + 16 * Math.min(1, hit.gain);
      const group = draw('g', { class: `hit of-${hit.player % 6}${hit.first ? ' first' : ''}${isAstray(hit, half) ? ' astray' : ''}` }, svg);
      draw('line', { x1: at, x2: at, y1: y - 3, y2: y - tall }, group);
      draw('ellipse', { cx: at - 3.6, cy: y - 3, rx: 4.4, ry: 3.2, transform: `rotate(-20 ${(at - 3.6).toFixed(2)} ${(y - 3).toFixed(2)})` }, group);
      if (hit.first) draw('text', { x: at + 3, y: y - tall + 8, class: 'step' }, group, '1');
      marks.push([hit.place, group]);
      // What is far from where it should be: from there to here.
      const off = exact(hit.at - hit.due);
      if (arrows.has(hit)) {
        const begin = Math.max(left, Math.min(left + room, x(hit.place - off)));
        const arrow = draw('g', { class: 'off' }, svg);
        const toward = off > 0 ? -1 : 1;
        draw('path', { d: `M${begin.toFixed(1)} ${y + 6}H${(at + toward * 2).toFixed(1)}m${toward * 5} -3l${-toward * 5} 3l${toward * 5} 3` }, arrow);
      }
    }
    heads = sheets.map(({ svg, head, height }) => draw('line', { x1: 0, x2: 0, y1: head ? HEAD - 10 : 0, y2: ruler ? height : height - 4, class: 'playhead' }, svg));
    heads[0].id = 'playhead';
    for (const { to: where, svg, held, head } of sheets) {
      where.replaceChildren(...(head || held.length ? [svg] : []));
      if (where !== place && held.length) where.setAttribute('aria-label', `${players[held[0]][0]}: hits in the loop: ${hits.filter((h) => h.player === held[0]).length}`);
    }
    const of = stretches.length > 1 ? ` Part ${n + 1} of ${stretches.length} is drawn.` : '';
    text('lanes-says', told() + elsewhere() + of);
  };

  const flash = (mark) => {
    mark.classList.add('on');
    setTimeout(() => mark.classList.remove('on'), 140);
  };
  /** Where the playhead is: `[stretch, x]`, or null while nothing sounds. */
  const where = () => {
    const at = sound.heard();
    if (at === null || !root.hasAttribute('data-sounds')) return null;
    const exact = at * 1000;
    const beats = scene.beats;
    // Who wants no movement sees the beat, and not how it is crossed.
    const ms = still.matches ? beats[Math.max(0, beats.findLastIndex(([b]) => b <= exact))][0] : exact;
    const n = Math.max(0, scene.stretches.findLastIndex(([from]) => from <= ms));
    const [from, to] = scene.stretches[n];
    return { exact, n, x: scene.left + ((ms - from) / (to - from)) * scene.room };
  };
  const follow = () => {
    requestAnimationFrame(follow);
    if (root.closest('[data-folded]') || !(ruler ?? place).clientWidth) return;
    if (stale) {
      scene = look();
      stale = false;
      paint(Math.max(0, Math.min(stretch, scene.stretches.length - 1)));
      zoom.show(scene, null);
    }
    const now = where();
    if (!now) {
      heads.forEach((line) => line.classList.remove('moving'));
      before = null;
      return;
    }
    if (now.n !== stretch) paint(now.n);
    for (const line of heads) {
      line.classList.add('moving');
      line.style.transform = `translateX(${now.x}px)`;
    }
    if (!still.matches && before !== null) {
      const passed = (ms) => (before <= now.exact ? ms > before && ms <= now.exact : ms > before || ms <= now.exact);
      for (const [ms, mark] of marks) if (passed(ms)) flash(mark);
    }
    before = now.exact;
    zoom.follow(now.exact);
  };
  changed.push(() => { stale = true; });
  const sized = new ResizeObserver(() => { stale = true; });
  sized.observe(place);
  requestAnimationFrame(follow);
  /** Gives players places of their own, by their names, and the beats one above them. */
  const spread = (places, above) => {
    if (above !== ruler) sized.observe(above);
    [own, ruler, stale] = [places, above, true];
  };
  return { where, spread, scene: () => scene };
};

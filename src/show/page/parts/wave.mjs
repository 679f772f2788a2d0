// The waveform around the coincident hit that was heard last, with both onsets.
import { sound } from './sound.mjs';

export const makeWave = ({ root, $, data, state, cell, loopSeconds, loop, text, changed }) => {
  const canvas = $('wave');
  /** What is drawn; undefined is nothing yet. */
  let shown;

  const pair = () => {
    const at = sound.position();
    const ms = loopSeconds(state.tempo, state.bars) * 1000;
    let first = null, last = null;
    for (const own of cell().pairs) {
      if (own[5] >= state.bars) continue;
      // Where it sounds in the loop: an early one at its end.
      const place = ((own[0] % ms) + ms) % ms;
      if (!first || place < first.place) first = { own, place };
      if (at !== null && place <= at * 1000 && (!last || place > last.place)) last = { own, place };
    }
    return (last ?? first)?.own ?? null;
  };

  const draw = (force) => {
    const now = pair();
    const key = now && `${state.tempo}/${state.version}/${state.bars}/${now[0]}`;
    if (!force && key === shown) return;
    shown = key;
    const scale = window.devicePixelRatio || 1;
    const width = canvas.clientWidth, height = canvas.clientHeight;
    canvas.width = Math.round(width * scale);
    canvas.height = Math.round(height * scale);
    const ink = canvas.getContext('2d');
    ink.scale(scale, scale);
    ink.clearRect(0, 0, width, height);
    if (!now || !width) {
      text('wave-says', 'No two hits meet here.');
      return;
    }
    const style = getComputedStyle(document.documentElement);
    const colour = (name) => style.getPropertyValue(name).trim();
    const [firstMs, gapMs, first, second, words] = now;
    const size = Math.abs(gapMs);
    const from = firstMs - Math.max(4, size * 0.15), span = Math.max(30, size * 1.5 + 20);
    const samples = loop(state.tempo, state.version, state.bars);
    const x = (ms) => ((ms - from) / span) * width;
    const middle = height * 0.56, tall = height * 0.4;
    let peak = 1e-6;
    const value = (n) => samples[((n % samples.length) + samples.length) % samples.length];
    const index = (ms) => Math.round((ms / 1000) * data.rate);
    for (let n = index(from); n < index(from + span); n += 1) peak = Math.max(peak, Math.abs(value(n)));
    ink.strokeStyle = colour('--rule');
    ink.beginPath(); ink.moveTo(0, middle); ink.lineTo(width, middle); ink.stroke();
    ink.strokeStyle = colour('--ink');
    ink.lineWidth = 1.25;
    ink.beginPath();
    for (let px = 0; px <= width; px += 0.5) {
      const a = index(from + (px / width) * span), b = Math.max(a + 1, index(from + ((px + 0.5) / width) * span));
      let low = Infinity, high = -Infinity;
      for (let n = a; n < b; n += 1) { const v = value(n); low = Math.min(low, v); high = Math.max(high, v); }
      const y = (v) => middle - (v / peak) * tall;
      if (px === 0) ink.moveTo(px, y(high)); else ink.lineTo(px, y(high));
      ink.lineTo(px, y(low));
    }
    ink.stroke();
    ink.font = `13px ${style.fontFamily || 'sans-serif'}`;
    ink.fillStyle = colour('--ink');
    const onsets = gapMs === 0 ? [[firstMs, `${first} and ${second}`]] : [[firstMs, first], [firstMs + size, second]];
    onsets.forEach(([ms, name], n) => {
      ink.strokeStyle = colour(n ? '--second' : '--first');
      ink.lineWidth = 2;
      ink.setLineDash(n ? [5, 4] : []);
      ink.beginPath(); ink.moveTo(x(ms), 22); ink.lineTo(x(ms), height - 4); ink.stroke();
      ink.setLineDash([]);
      const wide = ink.measureText(name).width;
      const left = n ? Math.min(x(ms) + 6, width - wide - 2) : Math.max(2, x(ms) - (onsets.length > 1 && x(onsets[1][0]) - x(ms) < wide + 14 ? wide + 6 : -6));
      ink.fillText(name, left, 14);
    });
    text('wave-says', gapMs === 0 ? `${first} and ${second} at one instant; ${span.toFixed(0)} ms shown`
      : `${second} ${words} ms after ${first}; ${span.toFixed(0)} ms shown`);
  };

  const follow = () => { if (!root.closest('[data-folded]')) draw(false); requestAnimationFrame(follow); };
  new ResizeObserver(() => draw(true)).observe(canvas);
  matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => draw(true));
  // With the next frame: what is chosen is at hand first, and drawn then.
  changed.push(() => { shown = undefined; });
  requestAnimationFrame(follow);
  return { pair };
};

// The magnifier: one hit that several share, with each box's own waveform, where each begins, and the time between.
import { engine } from './engine.mjs';
import { exact, inMs } from './hits.mjs';

/** Room above the rows for a row's name, and the height of a row. */
const ROW = 74, FOOT = 26;

export const makeZoom = ({ root, $, data, voices, state, cell, loopSeconds, text }) => {
  const canvas = $('wave');
  let scene = null, chosen = null, pinned = false, shown;
  /** The widest shared hit, of several the first; and all as wide. */
  let most = null, widest = [];


  /** What one player's voices do around a time, in `frames` samples from `from` milliseconds on. */
  const trace = (player, from, frames) => {
    const all = scene.hits.filter((hit) => hit.player === player);
    const near = [-1, 0, 1].flatMap((round) => all.map((hit) => [(hit.place + round * scene.ms - from) / 1000, hit.voice, hit.gain * cell().gain]));
    // A tail of two seconds may still sound.
    return engine.mix(voices, near.filter(([s]) => s > -2 && s < frames / data.rate + 0.1), data.rate, frames, false);
  };

  const paint = () => {
    const own = chosen ?? most;
    const key = own && `${state.tempo}/${state.version}/${state.bars}/${own.due}/${canvas.clientWidth}`;
    if (key === shown) return;
    shown = key;
    const rows = own ? Math.min(own.hits.length, 6) : 1;
    const height = rows * ROW + FOOT;
    canvas.style.height = `${height}px`;
    const scale = window.devicePixelRatio || 1, width = canvas.clientWidth;
    canvas.width = Math.round(width * scale);
    canvas.height = Math.round(height * scale);
    const ink = canvas.getContext('2d');
    ink.scale(scale, scale);
    ink.clearRect(0, 0, width, height);
    if (!own || !width) {
      text('wave-says', 'No two hits share a beat here.');
      return;
    }
    const style = getComputedStyle(document.documentElement);
    const colour = (name) => style.getPropertyValue(name).trim();
    const span = Math.max(24, own.gap * 1.4 + 14);
    const first = own.hits[0];
    const from = first.place - Math.max(3, span * 0.12);
    const x = (ms) => ((ms - from) / span) * width;
    const frames = Math.ceil((span / 1000) * data.rate) + 2;
    const onset = (hit) => first.place + (hit.at - first.at);
    const maxGap = Number(data.maxGap);
    ink.font = `600 13px ${style.fontFamily || 'sans-serif'}`;
    ink.textBaseline = 'alphabetic';
    // The time between, behind the waves.
    if (own.gap > 0) {
      ink.fillStyle = colour(own.gap > maxGap ? '--apart-wash' : '--together-wash');
      ink.fillRect(x(first.place), 0, Math.max(1, x(onset(own.hits[own.hits.length - 1])) - x(first.place)), rows * ROW);
    }
    own.hits.slice(0, rows).forEach((hit, n) => {
      const middle = n * ROW + ROW * 0.58, tall = ROW * 0.36;
      const samples = trace(hit.player, from, frames);
      let peak = 1e-6;
      for (const v of samples) peak = Math.max(peak, Math.abs(v));
      ink.strokeStyle = colour('--rule');
      ink.lineWidth = 1;
      ink.beginPath(); ink.moveTo(0, middle); ink.lineTo(width, middle); ink.stroke();
      ink.strokeStyle = colour(`--voice-${hit.player % 6}`);
      ink.lineWidth = 1.4;
      ink.beginPath();
      for (let px = 0; px <= width; px += 0.5) {
        const a = Math.min(samples.length - 1, Math.round(((px / width) * span / 1000) * data.rate));
        const b = Math.max(a + 1, Math.min(samples.length, Math.round((((px + 0.5) / width) * span / 1000) * data.rate)));
        let low = Infinity, high = -Infinity;
        for (let k = a; k < b; k += 1) { low = Math.min(low, samples[k]); high = Math.max(high, samples[k]); }
        const y = (v) => middle - (v / peak) * tall;
        if (px === 0) ink.moveTo(px, y(high)); else ink.lineTo(px, y(high));
        ink.lineTo(px, y(low));
      }
      ink.stroke();
      ink.strokeStyle = colour('--ink');
      ink.lineWidth = 2;
      ink.beginPath(); ink.moveTo(x(onset(hit)), n * ROW + 4); ink.lineTo(x(onset(hit)), (n + 1) * ROW - 2); ink.stroke();
      const name = data.variants[state.version].players[hit.player][0];
      const later = exact(hit.at - first.at);
      const behind = later > 0 ? `, ${inMs(later, maxGap)} ms later` : n > 0 ? ', at the same instant' : '';
      // A long name gives way to the figure.
      let short = name;
      while (short.length > 1 && ink.measureText(`${short}…${behind}`).width > width - 10) short = short.slice(0, -1);
      const label = `${short === name ? name : `${short}…`}${behind}`;
      const wide = ink.measureText(label).width;
      ink.fillStyle = colour('--ink');
      ink.fillText(label, x(onset(hit)) + 6 + wide < width ? x(onset(hit)) + 6 : Math.max(2, x(onset(hit)) - wide - 6), n * ROW + 15);
    });
    // A scale of ten milliseconds, or of a tenth of a long stretch.
    const unit = [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000].find((ms) => (ms / span) * width > 62) ?? 5000;
    ink.strokeStyle = colour('--soft');
    ink.fillStyle = colour('--soft');
    ink.font = `12px ${style.fontFamily || 'sans-serif'}`;
    ink.lineWidth = 1;
    for (let ms = 0; x(first.place + ms) < width - 20; ms += unit) {
      const at = x(first.place + ms);
      ink.beginPath(); ink.moveTo(at, rows * ROW); ink.lineTo(at, rows * ROW + 5); ink.stroke();
      ink.fillText(ms === 0 ? '0' : `${ms} ms`, at + 3, rows * ROW + 17);
    }
    const names = own.hits.map((hit) => data.variants[state.version].players[hit.player][0]);
    const last = names[names.length - 1];
    text('wave-says', own.gap === 0 ? `${names.join(' and ')} at one instant; ${span.toFixed(0)} ms are shown`
      : `${last} ${inMs(own.gap, maxGap)} ms after ${names[0]}; ${span.toFixed(0)} ms are shown`);
  };

  const step = (by) => {
    if (!scene || !scene.shared.length) return;
    const at = scene.shared.indexOf(chosen ?? most);
    chosen = scene.shared[(at + by + scene.shared.length) % scene.shared.length];
    pinned = true;
    paint();
  };
  $('zoom-before').addEventListener('click', () => step(-1));
  $('zoom-after').addEventListener('click', () => step(1));
  matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => { shown = undefined; paint(); });
  return {
    /** Takes what is at hand now; the shared hit that was chosen goes with it where there is still one on its beat. */
    show: (next) => {
      const due = chosen && chosen.due;
      scene = next;
      most = scene.shared.reduce((best, own) => (!best || own.gap > best.gap ? own : best), null);
      widest = scene.shared.filter((own) => own.gap === most.gap);
      chosen = pinned ? scene.shared.find((own) => own.due === due) ?? null : null;
      pinned = chosen !== null;
      shown = undefined;
      paint();
    },
    choose: (own) => { chosen = own; pinned = true; paint(); },
    /** Shows the shared hit that was heard last, unless one was chosen. */
    follow: (ms) => {
      if (pinned) return;
      const passed = widest.findLast((own) => own.hits[0].place <= ms);
      if (passed && passed !== chosen) { chosen = passed; paint(); }
    },
    shown: () => chosen ?? most,
  };
};

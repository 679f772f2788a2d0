// Places hits between samples, as the renderer does: masters at 96 kHz, read by a sinc under Kaiser's window into sixteen
// delays a sample, and a cubic between these. A loop's tails go round to its beginning.
export const engine = (() => {
  const MASTER_RATE = 96000;
  const TAPS = 16;
  const HALF = TAPS / 2;
  const STEPS = 1024;
  const PHASES = 16;
  /** Places are told apart to so small a part of a sample: a third of a picosecond, where hits are told to one. */
  const FINE = 2 ** 26;
  const BETA = 0.1102 * (140 - 8.7);

  const besselI0 = (x) => {
    let sum = 1, term = 1;
    for (let k = 1; term > sum * 1e-17; k += 1) {
      term *= (x * x) / 4 / (k * k);
      sum += term;
    }
    return sum;
  };
  const sinc = (x) => (x === 0 ? 1 : Math.sin(Math.PI * x) / (Math.PI * x));
  const kaiser = (x) => (Math.abs(x) > 1 ? 0 : besselI0(BETA * Math.sqrt(1 - x * x)) / besselI0(BETA));

  let rows = null;
  const kernel = () => {
    if (rows) return rows;
    rows = new Float64Array((STEPS + 1) * TAPS);
    for (let p = 0; p <= STEPS; p += 1) {
      let sum = 0;
      for (let j = 0; j < TAPS; j += 1) {
        const t = p / STEPS - (j - (HALF - 1));
        rows[p * TAPS + j] = sinc(t) * kaiser(t / HALF);
        sum += rows[p * TAPS + j];
      }
      for (let j = 0; j < TAPS; j += 1) rows[p * TAPS + j] /= sum;
    }
    return rows;
  };

  /** A voice from its samples: 16-bit numbers in base 64, full scale 1 at `scale`. They are read when they are first needed. */
  const decode = (voice) => {
    let samples = null;
    const read = () => {
      const bytes = atob(voice.pcm);
      samples = new Float32Array(bytes.length / 2);
      for (let n = 0; n < samples.length; n += 1) {
        const unsigned = bytes.charCodeAt(2 * n) + 256 * bytes.charCodeAt(2 * n + 1);
        samples[n] = ((unsigned < 32768 ? unsigned : unsigned - 65536) / 32767) * voice.scale;
      }
      return samples;
    };
    return { get samples() { return samples ?? read(); }, pre: voice.pre, delayed: new Map() };
  };

  /** Samples at a rate, from the hit's instant, outside which a voice is silent. */
  const reach = (voice, rate) => {
    const post = voice.samples.length - voice.pre;
    return [Math.floor(((-voice.pre - HALF) * rate) / MASTER_RATE) - 2, Math.ceil(((post + HALF) * rate) / MASTER_RATE) + 3];
  };

  /** A voice over its reach, `phase` sixteenths of a sample late; made when first needed. */
  const delayed = (voice, rate, phase) => {
    const key = `${rate}/${phase}`;
    if (voice.delayed.has(key)) return voice.delayed.get(key);
    const table = kernel(), samples = voice.samples;
    const [first, end] = reach(voice, rate);
    const out = new Float32Array(end - first);
    for (let a = 0; a < out.length; a += 1) {
      const at = ((first + a - phase / PHASES) * MASTER_RATE) / rate + voice.pre;
      const whole = Math.floor(at);
      const fine = (at - whole) * STEPS;
      const row = Math.min(Math.floor(fine), STEPS - 1);
      const part = fine - row;
      const from = whole + 1 - HALF, at0 = row * TAPS, at1 = at0 + TAPS;
      // Only within the voice: a place outside an array is slow to read.
      const begin = Math.max(0, -from), stop = Math.min(TAPS, samples.length - from);
      let near = 0, next = 0;
      for (let j = begin; j < stop; j += 1) {
        const sample = samples[from + j];
        near += table[at0 + j] * sample;
        next += table[at1 + j] * sample;
      }
      out[a] = near + (next - near) * part;
    }
    voice.delayed.set(key, out);
    return out;
  };

  const cubic = (x) => {
    const a = x + 1, b = x - 1, c = x - 2;
    return [(-x * b * c) / 6, (a * b * c) / 2, (-a * x * c) / 2, (a * x * b) / 6];
  };

  /** A hit as it sounds, at a part of a sample: what lies between two delays, by its factor. It is written into `room` where that is enough. */
  const struck = (voice, rate, part, gain, room) => {
    const fine = part * PHASES, phase = Math.floor(fine);
    const [wa, wb, wc, wd] = cubic(fine - phase);
    const [a, b, c, d] = [-1, 0, 1, 2].map((by) => delayed(voice, rate, phase + by));
    const out = room && room.length >= a.length ? room : new Float64Array(a.length);
    for (let n = 0; n < a.length; n += 1) out[n] = gain * (wa * a[n] + wb * b[n] + wc * c[n] + wd * d[n]);
    return out;
  };

  /** Mixes `count` samples, from sample `from` on, of `frames` in which hits `[seconds, voice, factor]` sound; with `wrap`, what hangs over
   * either end goes round. */
  const part = (voices, hits, rate, frames, wrap, from, count) => {
    const out = new Float32Array(count);
    const heard = [], times = new Map();
    for (const [seconds, index, gain] of hits) {
      const place = Math.round(seconds * rate * FINE) / FINE, frame = Math.floor(place);
      const [start, end] = reach(voices[index], rate);
      // Where it begins in what is mixed; what goes round comes again a loop earlier.
      let at = frame + start - from;
      if (wrap) at = ((at % frames) + frames) % frames;
      // What is mixed may be longer than the loop: it begins with the last round.
      if (wrap && at < count) at += Math.floor((count - 1 - at) / frames) * frames;
      if (at >= count && at - (wrap ? frames : Infinity) + end - start <= 0) continue;
      if (at + end - start <= 0) continue;
      const key = `${index} ${place - frame} ${gain}`;
      times.set(key, (times.get(key) ?? 0) + 1);
      heard.push([key, at, index, place - frame, gain, end - start]);
    }
    // Hits that sound alike come again and again in a pattern, and are worked out once.
    const known = new Map();
    let room = null;
    for (const [key, first, index, fraction, gain, length] of heard) {
      const often = times.get(key) > 1;
      const own = known.get(key) ?? struck(voices[index], rate, fraction, gain, often ? null : room);
      if (often) known.set(key, own); else room = own;
      for (let at = first; at + length > 0; at -= frames) {
        const stop = Math.min(length, count - at);
        for (let n = Math.max(0, -at); n < stop; n += 1) out[at + n] += own[n];
        if (!wrap) break;
      }
    }
    return out;
  };
  /** All of it. */
  const mix = (voices, hits, rate, frames, wrap) => part(voices, hits, rate, frames, wrap, 0, frames);

  return { decode, mix, part };
})();

// One graph for all versions of a tempo: they start together once and loop together, and choosing is a change of levels.
import { level } from './level.mjs';
import { makeMaster } from './master.mjs';

export const sound = (() => {
  const FADE = 0.008;
  let context = null, master = null, running = null;

  const open = (rate) => {
    if (!context) {
      context = new AudioContext({ sampleRate: rate });
      master = makeMaster(context);
    }
    return context;
  };

  /** The graph of a set of loops on any context: a source and a level for each, all started at one time. Null stays null: a loop that is not
   * mixed yet. */
  const wire = (on, to, loops, rate, chosen, at, offset, factor = 1) =>
    loops.map((samples, n) => {
      if (samples === null) return null;
      const buffer = on.createBuffer(1, samples.length, rate);
      buffer.copyToChannel(samples, 0);
      const source = on.createBufferSource();
      source.buffer = buffer;
      source.loop = true;
      const gain = on.createGain();
      gain.gain.setValueAtTime(n === chosen ? factor : 0, at);
      source.connect(gain).connect(to);
      source.start(at, offset % (samples.length / rate));
      return { source, gain };
    });

  /** Lets what sounds fade from a time on. */
  const fade = (at) => {
    for (const { gain, source, before } of running.voices.filter(Boolean)) {
      gain.gain.setTargetAtTime(0, at, FADE / 3);
      for (const one of [before, source]) one?.stop(at + 4 * FADE);
    }
  };
  /** Counts what was asked for: a browser may take its time to open its sound, and only the last thing asked for begins. */
  let asked = 0;
  const hush = () => {
    if (!running) return;
    const now = context.currentTime;
    for (const voice of running.voices.filter(Boolean)) voice.gain.gain.cancelScheduledValues(now);
    fade(now);
    running = null;
  };
  const stop = () => {
    asked += 1;
    hush();
    // Nobody can find a level by silence.
    level.dismiss();
  };

  const begin = (loops, rate, chosen, offset, factor) => {
    hush();
    const at = context.currentTime + 0.05;
    const seconds = loops[0].length / rate;
    running = { loops, voices: wire(context, master, loops, rate, chosen, at, offset, factor), at, offset, seconds, chosen, factor };
  };

  /** Plays loops, the chosen one to be heard, from `offset` seconds on; before the first sound of all, the listener finds the level
   * by the one that peaks highest. Whether it plays: not if something else was asked for. */
  const play = async (loops, rate, chosen, offset = 0) => {
    const on = open(rate);
    asked += 1;
    let mine = asked;
    if (on.state === 'suspended') await on.resume();
    if (mine !== asked) return false;
    const factor = level.stand(loops, rate);
    if (!level.checked()) {
      const loudest = level.loudest(loops, rate);
      level.quiet();
      begin([loops[loudest]], rate, 0, 0, factor);
      if (!(await level.ask())) {
        if (mine === asked) stop();
        return false;
      }
      level.confirm(loops[loudest], rate, factor);
      if (mine !== asked) return false;
      mine = asked;
    }
    // Once the level is found, the others of the set are no louder than the one by which it was.
    begin(loops, rate, chosen, offset, level.stand(loops, rate));
    return true;
  };

  /** On a sample: between two a loop would be read through a filter, and versions would not be alike. */
  const onSample = (seconds, rate) => Math.round(seconds * rate) / rate;
  /** Lets other loops go on from where those that sound now are: `carry` says at which second of theirs. One fades into the other. Loops that
   * are null come later, by `fill`. */
  const swap = (loops, rate, chosen, carry, { factor = level.stand(loops, rate), lead = 0.05 } = {}) => {
    if (!running) return;
    asked += 1;
    const at = onSample(context.currentTime + lead, rate);
    const offset = onSample(carry(within(at)), rate);
    fade(at);
    const seconds = loops.find((samples) => samples !== null).length / rate;
    const voices = wire(context, master, loops, rate, -1, at, offset);
    if (voices[chosen]) voices[chosen].gain.gain.setTargetAtTime(factor, at, FADE / 3);
    // A round more: until it begins it is so far before its place, and that is no time before its start.
    running = { loops: [...loops], voices, at, offset: offset + seconds, seconds, chosen, factor };
  };

  /** A piece of a loop that goes through a level at a time; `skip` seconds of it are over by then. */
  const sounded = (samples, rate, gain, at, skip = 0) => {
    const buffer = context.createBuffer(1, samples.length, rate);
    buffer.copyToChannel(samples, 0);
    const source = context.createBufferSource();
    source.buffer = buffer;
    source.connect(gain);
    source.start(at, skip);
    return source;
  };
  /** The same where even the loop at hand is not mixed yet: `begin` mixes a first piece of it from a sample on, and gives the factor for it.
   * The rest comes by `extend` and `fill`. */
  const swapSoon = (count, rate, chosen, frames, carry, begin, lead) => {
    if (!running) return;
    asked += 1;
    const since = performance.now(), first = onSample(context.currentTime + lead, rate);
    const offset = Math.round(carry(within(first)) * rate) % frames;
    const { samples, factor } = begin(offset);
    // What was mixed meanwhile is over when it begins.
    const at = onSample(first + (performance.now() - since) / 1000, rate);
    fade(at);
    const gain = context.createGain();
    gain.gain.setValueAtTime(0, at);
    gain.gain.setTargetAtTime(factor, at, FADE / 3);
    gain.connect(master);
    const source = sounded(samples, rate, gain, at, onSample(at - first, rate));
    const voices = Array.from({ length: count }, (_, n) => (n === chosen ? { source, gain, ends: first + samples.length / rate } : null));
    const seconds = frames / rate;
    running = { loops: voices.map(() => null), voices, at, offset: offset / rate + (at - first) + seconds, seconds, chosen, factor };
  };
  /** So long the piece at hand lasts, in seconds; null where the whole loop plays. */
  const left = () => { const ends = running?.voices[running.chosen]?.ends; return ends === undefined ? null : ends - context.currentTime; };
  /** A piece more, mixed by `next` from a sample of the loop on. */
  const extend = (rate, next) => {
    const voice = running.voices[running.chosen];
    const at = onSample(Math.max(voice.ends, context.currentTime + 0.02), rate);
    const samples = next(Math.round(within(at) * rate) % Math.round(running.seconds * rate));
    voice.before = voice.source;
    voice.source = sounded(samples, rate, voice.gain, at);
    voice.ends = at + samples.length / rate;
  };
  /** A loop that was not mixed when its set began: from now on, or from the end of its piece on, it runs beside the others. */
  const fill = (n, samples, rate, factor = running?.factor) => {
    if (!running || running.loops[n] !== null) return;
    const voice = running.voices[n], soon = Math.max(context.currentTime, running.at) + 0.02;
    const at = onSample(Math.max(voice?.ends ?? 0, soon), rate);
    const [whole] = wire(context, voice?.gain ?? master, [samples], rate, voice ? 0 : -1, at, onSample(within(at), rate));
    if (n === running.chosen) {
      (voice ?? whole).gain.gain.setTargetAtTime(factor, at, FADE / 3);
      running.factor = factor;
    }
    running.loops[n] = samples;
    // A piece goes through the level that it had, and so does what follows it.
    running.voices[n] = voice ? { source: whole.source, gain: voice.gain, before: voice.source } : whole;
  };
  /** Whether what sounds is these loops. */
  const plays = (loops) => running !== null && running.loops.length === loops.length && loops.every((samples, n) => samples === running.loops[n]);
  /** Which loops are still to come, the one at hand first. */
  const missing = () => (running ? running.loops.flatMap((loop, n) => (loop === null ? [n] : [])).sort((a, b) => (b === running.chosen) - (a === running.chosen)) : []);
  /** All of a set are measured: it stands no louder than it may. */
  const restand = (loops, rate) => {
    if (!running) return;
    const factor = level.stand(loops, rate);
    if (Math.abs(factor - running.factor) <= 1e-6 * factor) return;
    running.factor = factor;
    const chosen = running.voices[running.chosen];
    if (chosen) chosen.gain.gain.setTargetAtTime(factor, context.currentTime, FADE);
  };

  /** Lets another loop be heard, at the same instant in the bar and without a click. */
  const choose = (chosen) => {
    if (!running || running.chosen === chosen) return;
    const now = context.currentTime;
    running.voices.forEach((voice, n) => {
      if (voice === null) return;
      const gain = voice.gain.gain;
      gain.cancelScheduledValues(now);
      gain.setTargetAtTime(n === chosen ? running.factor : 0, now, FADE / 3);
    });
    running.chosen = chosen;
  };

  /** The time of the graph that leaves the loudspeaker now: what the graph does now is heard later. */
  const outgoing = () => {
    const stamp = context.getOutputTimestamp ? context.getOutputTimestamp() : null;
    if (stamp && stamp.performanceTime > 0) {
      const time = stamp.contextTime + (performance.now() - stamp.performanceTime) / 1000;
      if (Math.abs(time - context.currentTime) < 1) return time;
    }
    return context.currentTime - (context.outputLatency || context.baseLatency || 0);
  };
  const within = (time) => {
    const since = time - running.at + running.offset;
    return since < 0 ? 0 : since % running.seconds;
  };
  /** Seconds from the loop's beginning that are being mixed, or null where nothing plays. */
  const position = () => (running ? within(context.currentTime) : null);
  /** Seconds from the loop's beginning that are being heard, or null. */
  const heard = () => (running ? within(outgoing()) : null);

  return {
    play, stop, swap, swapSoon, left, extend, fill, missing, plays, restand, choose, position, heard, wire, playing: () => running !== null, chosen: () => running && running.chosen,
    factor: () => running && running.factor, master: () => master, context: () => context,
  };
})();

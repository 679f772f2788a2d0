// One graph for all versions of a tempo: they start together once and loop together, and choosing is a change of levels.
export const sound = (() => {
  const FADE = 0.008;
  let context = null, master = null, running = null;
  const level = { gain: 0.1 };

  const open = (rate) => {
    if (!context) {
      context = new AudioContext({ sampleRate: rate });
      master = context.createGain();
      master.gain.value = level.gain;
      master.connect(context.destination);
    }
    return context;
  };

  /** The graph of a set of loops on any context: a source and a level for each, all started at one time. */
  const wire = (on, to, loops, rate, chosen, at, offset) =>
    loops.map((samples, n) => {
      const buffer = on.createBuffer(1, samples.length, rate);
      buffer.copyToChannel(samples, 0);
      const source = on.createBufferSource();
      source.buffer = buffer;
      source.loop = true;
      const gain = on.createGain();
      gain.gain.setValueAtTime(n === chosen ? 1 : 0, at);
      source.connect(gain).connect(to);
      source.start(at, offset % (samples.length / rate));
      return { source, gain };
    });

  /** Counts what was asked for: a browser may take its time to open its sound, and only the last thing asked for begins. */
  let asked = 0;
  const hush = () => {
    if (!running) return;
    const now = context.currentTime;
    for (const voice of running.voices) {
      voice.gain.gain.cancelScheduledValues(now);
      voice.gain.gain.setTargetAtTime(0, now, FADE / 3);
      voice.source.stop(now + 4 * FADE);
    }
    running = null;
  };
  const stop = () => {
    asked += 1;
    hush();
  };

  /** Plays loops, the chosen one to be heard, from `offset` seconds on. Whether it does: not if something else was asked for. */
  const play = async (loops, rate, chosen, offset = 0) => {
    const on = open(rate);
    asked += 1;
    const mine = asked;
    if (on.state === 'suspended') await on.resume();
    if (mine !== asked) return false;
    hush();
    const at = on.currentTime + 0.05;
    const seconds = loops[0].length / rate;
    running = { voices: wire(on, master, loops, rate, chosen, at, offset), at, offset, seconds, chosen };
    return true;
  };

  /** Lets another loop be heard, at the same instant in the bar and without a click. */
  const choose = (chosen) => {
    if (!running || running.chosen === chosen) return;
    const now = context.currentTime;
    running.voices.forEach((voice, n) => {
      const gain = voice.gain.gain;
      gain.cancelScheduledValues(now);
      gain.setTargetAtTime(n === chosen ? 1 : 0, now, FADE / 3);
    });
    running.chosen = chosen;
  };

  /** Seconds from the loop's beginning, or null where nothing plays. */
  const position = () => {
    if (!running) return null;
    const since = context.currentTime - running.at + running.offset;
    return since < 0 ? 0 : since % running.seconds;
  };

  const setLevel = (gain) => {
    level.gain = gain;
    if (master) master.gain.setTargetAtTime(gain, context.currentTime, 0.02);
  };

  return { play, stop, choose, position, setLevel, wire, playing: () => running !== null, chosen: () => running && running.chosen, context: () => context };
})();

// The sound of a training page: one buffer at a time, through one level.
export const makeOutput = (rate) => {
  let context = null, gain = null, level = 0, source = null;
  const open = () => {
    if (!context) {
      context = new AudioContext({ sampleRate: rate });
      gain = context.createGain();
      gain.gain.value = level;
      gain.connect(context.destination);
    }
    return context;
  };
  const stop = () => { if (source) { source.onended = null; source.stop(); source = null; } };
  /** Plays samples once; `ended` is called when they are over. */
  const play = async (samples, ended) => {
    const on = open();
    if (on.state === 'suspended') await on.resume();
    stop();
    const buffer = on.createBuffer(1, samples.length, rate);
    buffer.copyToChannel(samples, 0);
    source = on.createBufferSource();
    source.buffer = buffer;
    source.connect(gain);
    source.onended = () => { source = null; ended(); };
    source.start(on.currentTime + 0.03);
  };
  const setLevel = (to) => { level = to; if (gain) gain.gain.setTargetAtTime(to, context.currentTime, 0.02); };
  return { play, stop, setLevel };
};

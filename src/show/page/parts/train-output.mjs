// The sound of a training page: one buffer at a time, all with one factor, through the listener's level.
import { level } from './level.mjs';
import { makeMaster } from './master.mjs';

export const makeOutput = (rate) => {
  let context = null, master = null, source = null, factor = 1;
  const open = async () => {
    if (!context) {
      context = new AudioContext({ sampleRate: rate });
      master = makeMaster(context);
    }
    if (context.state === 'suspended') await context.resume();
    return context;
  };
  const stop = () => { if (source) { source.onended = null; source.stop(); source = null; } };
  const begin = (on, samples, loop, ended) => {
    stop();
    const buffer = on.createBuffer(1, samples.length, rate);
    buffer.copyToChannel(samples, 0);
    source = on.createBufferSource();
    source.buffer = buffer;
    source.loop = loop;
    const gain = on.createGain();
    gain.gain.value = factor;
    source.connect(gain).connect(master);
    source.onended = () => { source = null; ended(); };
    source.start(on.currentTime + 0.03);
  };
  /** Plays samples once; `ended` is called when they are over. */
  const play = async (samples, ended) => begin(await open(), samples, false, ended);
  /** Lets the listener find the level by the loudest that there will be, over and over, unless it is found; whether it is. */
  const find = async (most) => {
    const loudest = most();
    factor = level.stand([loudest], rate);
    if (level.checked()) return true;
    const on = await open();
    level.quiet();
    begin(on, loudest, true, () => {});
    const own = source;
    const found = await level.ask();
    if (source === own) stop();
    if (found) level.confirm(loudest, rate, factor);
    return found;
  };
  return { play, find, stop, master: () => master };
};

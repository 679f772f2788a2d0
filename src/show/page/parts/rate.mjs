// The rate of an output, `4 per beat` or `1 per 16 beats`.
export const rateOf = (text) => {
  const found = /^\s*(\d+)\s+per\s+(?:(\d+)\s+)?beats?\s*$/.exec(String(text));
  return found ? { pulses: Number(found[1]), beats: Number(found[2] ?? 1) } : null;
};
export const writtenRate = ({ pulses, beats }) => `${pulses} per ${beats === 1 ? 'beat' : `${beats} beats`}`;
/** Those that are asked for first, the fastest first. */
export const RATES = ['24 per beat', '4 per beat', '3 per beat', '2 per beat', '1 per beat', '1 per 2 beats', '1 per 4 beats', '1 per 16 beats'];

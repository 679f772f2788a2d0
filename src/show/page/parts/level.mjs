// How loud a page plays. All that it plays stands at one loudness; a level below that is the listener's own, found before the first sound.
import { loudnessSteps, truePeakSteps, whole } from './loudness.mjs';

/** Where all loops stand: the programme loudness of EBU R 128, whose material it is then level with, and its highest true peak. */
const TARGET_LUFS = -23, PEAK_DBTP = -1;
/** The level is so far below that at first, and at its softest; it rises by so much a second. */
const FIRST_DB = -36, SOFTEST_DB = -48, RISE_DB_S = 12;

const factor = (db) => Math.pow(10, db / 20);
const decibels = (gain) => 20 * Math.log10(gain);

export const level = (() => {
  let db = FIRST_DB, checked = false, promise = null, question = null;
  const heard = [];
  const measured = new WeakMap();
  /** What a loop is as it stands in the page: measured once, and bit by bit where there is time. */
  const measuring = function* measuring(loop, rate) {
    if (!measured.has(loop)) {
      const lufs = yield* loudnessSteps(loop, rate), peak = yield* truePeakSteps(loop);
      measured.set(loop, { lufs, dbtp: decibels(peak) });
    }
    return measured.get(loop);
  };
  const measure = (loop, rate) => whole(measuring(loop, rate));
  /** The factor on a set of loops that are equally loud already: none of them louder than the target, nor than what was heard when the
   * level was found, nor peaking higher. */
  const stand = (loops, rate) => {
    const most = promise ?? { lufs: TARGET_LUFS, dbtp: PEAK_DBTP };
    const room = loops.map((loop) => {
      const { lufs, dbtp } = measure(loop, rate);
      return Math.min(most.lufs - lufs, most.dbtp - dbtp);
    });
    const least = Math.min(...room);
    return Number.isFinite(least) ? factor(least) : 1;
  };
  /** The factor with which a loop's samples stay below the highest peak that there may be, without a measurement that takes its time: the peak
   * between samples is told apart afterwards. */
  const most = (loop) => {
    let peak = 0;
    for (let n = 0; n < loop.length; n += 1) peak = Math.max(peak, Math.abs(loop[n]));
    return peak > 0 ? factor((promise ?? { dbtp: PEAK_DBTP }).dbtp) / peak : Infinity;
  };
  /** Which of a set of loops peaks highest: the one by which a level is found. */
  const loudest = (loops, rate) => loops.reduce((best, loop, n) => (measure(loop, rate).dbtp > measure(loops[best], rate).dbtp ? n : best), 0);
  /** From now on nothing is louder, at one level, than these loops with this factor. */
  const confirm = (loop, rate, gain) => {
    if (loop) {
      const { lufs, dbtp } = measure(loop, rate);
      if (Number.isFinite(lufs)) promise = { lufs: lufs + decibels(gain), dbtp: dbtp + decibels(gain) };
    }
    checked = true;
  };
  const set = (to) => {
    db = Math.max(SOFTEST_DB, Math.min(0, Math.round(to)));
    heard.forEach((listener) => listener(db));
  };
  return {
    set, measuring, stand, most, loudest, confirm,
    db: () => db,
    gain: () => (db <= SOFTEST_DB ? 0 : factor(db)),
    words: () => (db <= SOFTEST_DB ? 'silent' : db === 0 ? 'full' : `${-db} dB below full`),
    /** The least gain from which a level rises, and how many seconds it takes from one to another. */
    floor: factor(SOFTEST_DB),
    seconds: (from, to) => Math.max(0, decibels(to / from)) / RISE_DB_S,
    checked: () => checked,
    /** Who asks the listener: `ask` shows the question and answers whether the level is found, `dismiss` takes it away. */
    asks: (how) => { question = how; },
    /** Asks, from the quiet level on, whatever the slider was at. */
    ask: () => question.ask(),
    quiet: () => set(FIRST_DB),
    dismiss: () => { if (question) question.dismiss(); },
    onChange: (listener) => heard.push(listener),
  };
})();

// The file of a blind test: what it is called, and how one that somebody hands in is read. The program reads the same
// (ear/blind_test); docs/ear.md says what each field holds.
export const blindFile = (() => {
  const MOST_BYTES = 1 << 20, MOST_OF_A_NAME = 64, MOST_OF_A_TEXT = 2000, MOST_TRIALS = 100;
  // Controls and marks that turn or hide text: they are shown as what they are, and have no place in the name of a file.
  const UNSAFE = /[\p{Cc}\p{Cf}\p{Zl}\p{Zp}\p{Co}\p{Cs}]/gu;

  const plain = (text) => text.replace(UNSAFE, '\ufffd').trim();
  /** A listener's name as it goes into the file; empty where nothing was given. */
  const listener = (name) => [...plain(name)].slice(0, MOST_OF_A_NAME).join('');

  /** Text as a part of the name of a file: letters, figures and what joins them. */
  const part = (text, most) => [...text.normalize('NFC').replace(/[^\p{L}\p{M}\p{N}._+-]+/gu, '-')].slice(0, most).join('').replace(/^[-.]+|[-.]+$/g, '');
  /** What a test is saved as: `hitgap-blind-test-NAME-PATCH.json`. */
  const fileName = (name, patch) => {
    const stem = patch.split(/[/\\]/).pop().replace(/(\.lesson)?\.toml$/, '');
    return `${['hitgap-blind-test', part(name, 40), part(stem, 60)].filter(Boolean).join('-')}.json`;
  };

  const text = (x, most) => typeof x === 'string' && x.length <= most;
  const whole = (x, low, high) => Number.isInteger(x) && x >= low && x <= high;
  const object = (x) => typeof x === 'object' && x !== null && !Array.isArray(x);
  const side = (x) => object(x) && text(x.variant, MOST_OF_A_TEXT) && (x.gap_ms === null || x.gap_ms === undefined || Number.isFinite(x.gap_ms));
  const letter = (x) => x === 'a' || x === 'b';
  const trial = (x) => object(x) && letter(x.x) && letter(x.answer);

  /** Why a value is no blind test; null for one. */
  const fault = (x) => {
    if (!object(x) || x.hitgap !== 'blind-test') return 'it is no blind test';
    if (x.format !== 1) return 'it is of another format: a newer hitgap may read it';
    if (![x.patch, x.title].every((t) => text(t, MOST_OF_A_TEXT)) || !side(x.a) || !side(x.b)) return 'it does not say what was held against what';
    if (!Number.isFinite(x.tempo_bpm) || x.tempo_bpm < 1 || x.tempo_bpm > 1000) return 'its tempo is none from 1 to 1000';
    if (!Array.isArray(x.trials) || !whole(x.trials.length, 1, MOST_TRIALS) || !x.trials.every(trial)) return `it has no list of 1 to ${MOST_TRIALS} answers`;
    if (x.tests !== undefined && !whole(x.tests, 1, 10000)) return 'its count of tests is none from 1 to 10000';
    if (x.saved !== undefined && !text(x.saved, MOST_OF_A_TEXT)) return 'it does not say when it was saved';
    if (x.listener !== undefined && x.listener !== null && !(typeof x.listener === 'string' && [...x.listener].length <= MOST_OF_A_NAME)) return `its name has more than ${MOST_OF_A_NAME} characters`;
    return null;
  };

  /** Reads a file's text: `test`, with nothing in it but what is known, counted anew; or `fault`. */
  const read = (of) => {
    let x = null;
    try { x = JSON.parse(of.replace(/^\ufeff/, '')); } catch { return { fault: 'it was cut short, or is no file of a page' }; }
    const wrong = fault(x);
    if (wrong) return { fault: wrong };
    const trials = x.trials.map((t) => [t.x, t.answer]);
    return {
      test: {
        who: listener(x.listener ?? ''), patch: plain(x.patch), title: plain(x.title), bpm: x.tempo_bpm,
        sides: [x.a, x.b].map((s) => ({ name: plain(s.variant), gap: s.gap_ms ?? null })),
        right: trials.filter(([drawn, answer]) => drawn === answer).length, of: trials.length, tests: x.tests ?? 1,
        same: JSON.stringify([x.saved ?? '', trials]),
      },
    };
  };

  /** The two versions whose worst gaps differ least, but do: from a twentieth of a millisecond on, below which two like drums
   * lose nothing under 10 kHz. Where no two differ so, the first two. `gaps` has null where there is none. */
  const closest = (gaps) => {
    const LEAST = 0.05;
    let best = [Infinity, 0, Math.min(1, gaps.length - 1)];
    gaps.forEach((a, n) => gaps.slice(n + 1).forEach((b, k) => {
      const apart = a === null || b === null ? 0 : Math.abs(a - b);
      if (apart >= LEAST && apart < best[0]) best = [apart, n, n + 1 + k];
    }));
    return best.slice(1);
  };

  return { MOST_BYTES, listener, fileName, read, closest };
})();

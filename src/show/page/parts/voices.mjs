// The voices of a page that is served: each is sent once, by the name that the server gives it.
import { engine } from './engine.mjs';

/** A keeper of voices: `known` are those that the page came with, `fetched` brings another by its id. */
export const makeVoices = (known, fetched) => {
  const kept = new Map();
  const idOf = (voice) => (typeof voice === 'string' ? voice : voice.id ?? voice.pcm);
  for (const voice of known) kept.set(idOf(voice), voice);
  const heard = new Map();
  /** The voices of a list, ready to be mixed: what is known already is the same voice as before, with all that was worked out of it. */
  const of = (list) => Promise.all(list.map(async (voice) => {
    const id = idOf(voice);
    if (!kept.has(id)) kept.set(id, typeof voice === 'string' ? await fetched(voice) : voice);
    if (!heard.has(id)) heard.set(id, engine.decode(kept.get(id)));
    return heard.get(id);
  }));
  /** Those that the page plays already. */
  const adopt = (list, decoded) => list.forEach((voice, n) => heard.set(idOf(voice), decoded[n]));
  /** The voices of a list as they were sent; all of them have been brought. */
  const sent = (list) => list.map((voice) => kept.get(idOf(voice)));
  return { of, adopt, sent };
};

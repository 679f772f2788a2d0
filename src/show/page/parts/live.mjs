// A page that is served follows its patch: it is told of each change, fetches what is new, and takes it over while it plays.
import { chapters } from './chapters.mjs';
import { withNear, withOwn } from './near.mjs';
import { makeTold } from './told.mjs';
import { makeVoices } from './voices.mjs';

/** So long after the server was not there it is looked for again. */
const AGAIN_MS = 1500;

export const live = (() => {
  const page = chapters.pages[0], { root, $, data, state } = page;
  const says = $('live-says'), fault = $('live-fault');
  let edition = Number($('live').dataset.edition), sheets = null, waiting = null, source = null, again = null;
  /** Who hears of an edition that is taken over, of what the server says of the patch, of a server that is gone, and of one that is back. */
  const whenTaken = [], whenDesk = [], whenLost = [], whenBack = [];
  const tellAll = (listeners, ...what) => listeners.forEach((listener) => listener(...what));

  const voices = makeVoices(data.voices, async (id) => {
    const answer = await fetch(`/voice/${encodeURIComponent(id)}`);
    if (!answer.ok) throw new Error(`${answer.status}`);
    return answer.json();
  });
  voices.adopt(data.voices, page.voices);

  const markup = (text) => {
    const template = document.createElement('template');
    template.innerHTML = text;
    return template.content;
  };
  /** Puts other markup into a place; what was folded out there stays so. */
  const put = (name, text) => {
    const place = root.querySelector(`[data-part="${name}"]`);
    const open = new Set([...place.querySelectorAll('details[open]')].map((details) => details.className));
    place.replaceChildren(markup(text));
    place.querySelectorAll('details').forEach((details) => { details.open = open.has(details.className); });
  };
  const tell = (words, wrong) => {
    if (says.textContent !== words) says.textContent = words;
    if (fault.textContent !== wrong) fault.textContent = wrong;
  };
  /** The fault of the patch as it is now. */
  const wrongOf = (now) => now.desk?.fault ?? now.fault ?? '';

  /** The revision of the patch that the page shows words of, and the one that sounds. */
  let revision = 0, heard = 0;
  const take = async (now) => {
    if (now.desk) {
      // Of answers that overtake each other the newer counts.
      if (now.desk.revision < revision) return;
      revision = now.desk.revision;
      tellAll(whenDesk, now.desk);
    }
    if (sheets !== null && now.sheets !== undefined && sheets !== now.sheets) {
      // A style element would be against the page's policy; what a script makes of its own is not.
      const sheet = new CSSStyleSheet();
      sheet.replaceSync(now.sheets);
      document.adoptedStyleSheets = [sheet];
    }
    sheets = now.sheets ?? sheets;
    if (now.data && now.edition !== edition && !(now.of < heard)) {
      // A test is of the versions with which it was begun.
      if (page.blind.busy()) {
        waiting = now;
        tell('The patch has changed. The page takes it over when this test is done.', wrongOf(now));
        return;
      }
      const decoded = await voices.of(now.data.voices);
      if (now.of < heard) return;
      edition = now.edition;
      const own = now.of !== undefined && now.of === heard;
      heard = now.of ?? heard;
      for (const [id, options] of Object.entries(now.options)) $(id).replaceChildren(markup(options));
      // The tempo that the page has of its own stays, with the voices that it plays.
      const all = [...decoded], sent = [...voices.sent(now.data.voices)], offered = [...$('bars').options].map((option) => Number(option.value));
      const played = new Set(data.tempos.filter((tempo) => tempo.own).flatMap(({ cells }) => cells.flatMap((cell) => cell?.hits.map((hit) => hit[1]) ?? [])));
      const places = page.voices.map((voice, n) => {
        if (!all.includes(voice) && played.has(n)) { all.push(voice); sent.push(data.voices[n]); }
        return all.indexOf(voice);
      });
      page.take({ ...withOwn(now.data, data, places, offered), voices: sent }, offered, all);
      offerOwn();
      document.title = now.title;
      document.querySelector('h1').textContent = now.title;
      document.querySelector('.lead').replaceChildren(markup(now.lead));
      for (const name of ['pictures', 'figures', 'about']) put(name, now[name]);
      page.blind.renew();
      page.answers.renew(markup(now.answers).firstElementChild);
      page.tell();
      page.player.renew();
      tellAll(whenTaken, now);
      // Of what was changed here the sound has told.
      tell(own ? '' : `Updated at ${new Date().toLocaleTimeString()}.`, wrongOf(now));
      return;
    }
    tell(wrongOf(now) ? 'The patch has a fault; this is the last version without.' : 'This page follows the patch: save the file, and hear it.', wrongOf(now));
  };

  /** Of which revision the page's own tempo is. */
  let ownOf = 0;
  /** A tempo of the page's own can be chosen beside the others. */
  const offerOwn = () => {
    $('tempo').querySelector('[data-own]')?.remove();
    const n = data.tempos.findIndex((tempo) => tempo.own);
    if (n < 0) return;
    const option = new Option(`${data.tempos[n].bpm}, here alone`, String(n));
    option.dataset.own = '';
    $('tempo').append(option);
  };

  /** Takes over what a change has made of the tempo at hand, at once: all else follows as an edition. `of` is its revision. Gives the time at
   * which the sound was handed over, or null where nothing was. A tempo of the page's `own` is gone to. */
  const near = async (part, of, own = false) => {
    if (!part || of < heard || page.blind.busy()) return null;
    const decoded = await voices.of(part.data.voices);
    if (of < heard) return null;
    // What the page has already keeps its place; other tempos play it.
    const all = [...page.voices], sent = [...data.voices];
    const places = decoded.map((voice, n) => {
      if (!all.includes(voice)) {
        all.push(voice);
        sent.push(voices.sent(part.data.voices)[n]);
      }
      return all.indexOf(voice);
    });
    const next = withNear(data, part.data, places, own);
    if (!next) return null;
    heard = of;
    const names = next.variants.map((variant) => variant.name);
    if (names.join('\n') !== data.variants.map((variant) => variant.name).join('\n')) {
      for (const id of ['version', 'blind-a', 'blind-b']) $(id).replaceChildren(...names.map((name, n) => new Option(name, String(n))));
    }
    page.take({ ...next, voices: sent }, [...$('bars').options].map((option) => Number(option.value)), all);
    const mine = data.tempos.findIndex((tempo) => tempo.own);
    if (part.data.tempo.bpm === data.tempos[mine]?.bpm) ownOf = of;
    if (own) { offerOwn(); page.player.tempo(data.tempos.findIndex(({ bpm }) => bpm === part.data.tempo.bpm)); } else page.player.renew();
    const at = performance.now();
    // Words and pictures after the sound.
    if (part.lead) document.querySelector('.lead').replaceChildren(markup(part.lead));
    page.tell();
    tellAll(whenTaken, part);
    return at;
  };

  const told = makeTold();
  let asked = 0;
  /** What the words of the patch are for: the version and tempo at hand. */
  const at = () => ({ tempo: data.tempos[state.tempo].bpm, version: data.variants[state.version].name });
  /** The same, and what the page has of them. */
  const asks = () => ({ ...at(), ...(told.has() === null ? {} : { has: told.has() }) });
  /** The first look brings what only an edition has. */
  let looked = false;
  /** Fetches what there is now; of several askings the last counts. */
  const look = async () => {
    asked += 1;
    const mine = asked;
    const own = looked ? { edition } : {};
    const answer = await fetch(`/now?${new URLSearchParams({ ...asks(), ...own })}`, { cache: 'no-store' });
    if (!answer.ok) throw new Error(`${answer.status}`);
    const now = await answer.json();
    now.desk = told.whole(now.desk);
    if (mine === asked) await take(now);
    looked = true;
  };
  /** Whether the server was not there: what comes back may count from the beginning again. */
  let gone = false;
  const lost = () => {
    if (source) source.close();
    source = null;
    gone = true;
    told.forget();
    tell('The program has ended. What is here stays; start `hitgap open` again to go on.', fault.textContent);
    tellAll(whenLost);
    clearTimeout(again);
    again = setTimeout(() => { if (!source) follow(); }, AGAIN_MS);
  };
  const follow = () => {
    source = new EventSource('/events');
    source.addEventListener('open', () => {
      if (!gone) return;
      gone = false;
      [revision, heard, edition, ownOf, looked] = [0, 0, -1, -1, false];
      tellAll(whenBack);
    });
    source.addEventListener('message', () => look().catch(lost));
    source.addEventListener('error', lost);
  };
  // A machine that slept may have lost it: who comes back to the page finds out.
  document.addEventListener('visibilitychange', () => { if (!document.hidden && !source) follow(); });
  const resume = () => {
    if (!waiting || page.blind.busy()) return;
    const now = waiting;
    waiting = null;
    take(now);
  };
  for (const id of ['blind-again', 'blind-cancel']) $(id).addEventListener('click', resume);
  follow();
  return {
    edition: () => edition, data, page, look, near, at, asks, lost, markup,
    /** Whether the page's own tempo is of before the patch that is heard. */
    ownIsOld: () => data.tempos.some((tempo) => tempo.own) && ownOf < heard,
    /** What an answer says, with the words that the page had already. */
    read: (text) => { const answer = JSON.parse(text); return { ...answer, desk: told.whole(answer.desk) }; },
    /** What the server says of the patch in an answer of its own. */
    heardOf: (desk) => {
      if (desk.revision < revision) return;
      revision = desk.revision;
      if (fault.textContent !== (desk.fault ?? '')) fault.textContent = desk.fault ?? '';
      if (desk.fault) says.textContent = 'The patch has a fault; this is the last version without.';
      tellAll(whenDesk, desk);
    },
    onTaken: (listener) => whenTaken.push(listener), onDesk: (listener) => whenDesk.push(listener),
    onLost: (listener) => whenLost.push(listener), onBack: (listener) => whenBack.push(listener),
  };
})();
globalThis.hitgap.live = live;

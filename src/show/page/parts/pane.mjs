// The patch as text beside its sentences: what is written is heard at once; and where the file has changed as well, both are shown.
import { desk } from './desk.mjs';
import { caretIn, lineAt, lineOf, merged, placeOf } from './draft.mjs';
import { live } from './live.mjs';
import { make } from './make.mjs';
import { marked } from './words.mjs';

/** So long nobody types before what is written is heard. */
const QUIET_MS = 150;

export const pane = (() => {
  const $ = (id) => document.getElementById(`pane-${id}`);
  const own = (id) => document.getElementById(id);
  const area = $('text');
  /** Where a browser keeps what is not saved, for a server that does not come back. */
  const KEY = `hitgap ${live.data.patch}`;
  /** The text on which what is written stands. */
  let base = null, timer = null, sent = null;
  const say = (words) => { if ($('says').textContent !== words) $('says').textContent = words; };
  const keep = (text) => {
    try { if (text === null) sessionStorage.removeItem(KEY); else sessionStorage.setItem(KEY, text); } catch { /* A browser that keeps nothing: the text is on the page. */ }
  };
  const kept = () => {
    try { return sessionStorage.getItem(KEY); } catch { return null; }
  };

  const hear = () => {
    timer = null;
    if (area.value === desk.now().text && !desk.outbox.waits()) return;
    sent = area.value;
    desk.outbox.other('/text', { text: sent }, 'PUT');
  };
  area.addEventListener('input', () => {
    keep(area.value);
    clearTimeout(timer);
    timer = setTimeout(hear, QUIET_MS);
  });

  /** Numbers beside the lines; those with a fault are marked. */
  let faulty = new Set();
  const number = () => {
    const count = area.value.split('\n').length, gutter = $('gutter');
    if (gutter.childElementCount !== count) gutter.replaceChildren(...Array.from({ length: count }, (_, n) => make('span', {}, `${n + 1}\n`)));
    [...gutter.children].forEach((line, n) => line.toggleAttribute('data-fault', faulty.has(n + 1)));
    gutter.scrollTop = area.scrollTop;
  };
  area.addEventListener('scroll', () => { $('gutter').scrollTop = area.scrollTop; });
  area.addEventListener('input', number);

  const put = (text) => {
    if (area.value === text) return;
    const [from, to] = [area.selectionStart, area.selectionEnd].map((place) => caretIn(area.value, text, place));
    const { scrollTop, scrollLeft } = area;
    area.value = text;
    area.setSelectionRange(from, to);
    [area.scrollTop, area.scrollLeft] = [scrollTop, scrollLeft];
  };
  const jump = (line) => {
    area.focus();
    area.setSelectionRange(...placeOf(area.value, line));
    const height = parseFloat(getComputedStyle(area).lineHeight);
    area.scrollTop = Math.max(0, (line - 5) * height);
  };
  const faults = (now) => {
    faulty = new Set();
    $('faults').replaceChildren(...now.faults.map(({ line, at, says }) => {
      const to = line ?? (at ? lineOf(now.text, at) : null);
      if (to) faulty.add(to);
      return make('li', {}, to ? make('button', { type: 'button', onclick: () => jump(to) }, `Line ${to}`) : null, ` ${says}`);
    }));
    if ($('fault').textContent !== (now.fault ?? '')) $('fault').textContent = now.fault ?? '';
    area.setAttribute('aria-invalid', String(Boolean(now.fault)));
    number();
  };

  const conflict = (now) => {
    own('conflict').hidden = !now.file;
    if (!now.file) return;
    for (const [id, text, other] of [['mine', now.text, now.file.text], ['theirs', now.file.text, now.text]]) {
      const place = own(`conflict-${id}`);
      place.replaceChildren(...marked(text, other).map(([line, differs]) => make(differs ? 'mark' : 'span', {}, `${line}\n`)));
      const first = place.querySelector('mark');
      if (first) place.scrollTop = first.offsetTop - place.offsetTop - 40;
    }
  };
  own('conflict-over').addEventListener('click', () => desk.outbox.other('/save', { hash: desk.now().file.hash, over: true }));
  own('conflict-take').addEventListener('click', () => desk.outbox.other('/take'));

  desk.onShown((now) => {
    const first = base === null;
    if (first) {
      base = now.text;
      area.value = now.text;
      area.setSelectionRange(0, 0);
      const before = kept();
      // What this tab had, and an ended program did not.
      if (before !== null && before !== now.text && now.saved) offer(before);
    } else if (area.value === base || area.value === sent || area.value === now.text) {
      // Nobody has written since.
      put(now.text);
      base = now.text;
      sent = null;
    } else if (now.text !== base && now.text !== sent) {
      const both = merged(base, area.value, now.text);
      if (both === null) say('Another change was made where you write: yours stands, and undo leads back to the other.');
      else put(both);
      base = now.text;
      clearTimeout(timer);
      timer = setTimeout(hear, QUIET_MS);
    } else base = now.text;
    if (now.saved && area.value === now.text) keep(null); else keep(area.value);
    faults(now);
    conflict(now);
  });
  desk.onRefused((answer, { path }) => {
    if (path === '/save' && answer.status === 409) own('conflict-title').focus();
  });

  const offer = (text) => {
    const button = make('button', { type: 'button', onclick: () => { area.value = text; button.remove(); say(''); hear(); } }, 'Bring it back');
    $('says').replaceChildren('This tab has work that was not saved. ', button);
    toggle(true);
  };
  const toggle = (open) => {
    own('pane').hidden = !open;
    own('pane-open').setAttribute('aria-expanded', String(open));
    own('live').toggleAttribute('data-pane', open);
    try { sessionStorage.setItem('hitgap pane', open ? 'open' : ''); } catch { /* Closed, then. */ }
  };
  desk.onText((at) => {
    toggle(true);
    jump(lineOf(area.value, at) ?? 1);
  });
  own('pane-open').addEventListener('click', () => { toggle(own('pane').hidden); if (!own('pane').hidden) area.focus(); });
  // The word that is looked at is shown in the text.
  own('rig').addEventListener('focusin', (event) => {
    const word = event.target.closest('.word');
    if (!word || own('pane').hidden) return;
    const line = lineOf(area.value, desk.now().words[Number(word.dataset.word)].at);
    if (!line) return;
    const height = parseFloat(getComputedStyle(area).lineHeight);
    area.scrollTop = Math.max(0, (line - 8) * height);
  });
  // What is here goes on, or is offered where a new run has another text.
  live.onBack(() => { base = null; });
  live.onLost(() => { if (desk.now()) keep(area.value); });
  let open = false;
  try { open = sessionStorage.getItem('hitgap pane') === 'open'; } catch { /* Closed, then. */ }
  if (open) toggle(true);
  return { jump, toggle, lineAtCaret: () => lineAt(area.value, area.selectionStart) };
})();
globalThis.hitgap.pane = pane;

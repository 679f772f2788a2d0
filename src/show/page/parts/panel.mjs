// The panel that opens at a word: below the sentence that holds it, or at the foot of a narrow window.
import { make } from './make.mjs';

/** Below this width the panel stands at the foot of the window. */
const NARROW = 620;

export const makePanel = (element, { closed, opened }) => {
  let at = null;
  const wrong = make('p', { class: 'problem', role: 'alert' });

  const place = () => {
    if (!at) return;
    const bar = document.querySelector('.bar')?.offsetHeight ?? 0;
    element.toggleAttribute('data-foot', innerWidth < NARROW);
    if (innerWidth < NARROW) {
      element.style.top = element.style.left = '';
      element.style.bottom = `${bar}px`;
      element.style.maxHeight = `${Math.round((innerHeight - bar) * 0.6)}px`;
      return;
    }
    element.style.maxHeight = element.style.bottom = '';
    const word = at.anchor.getBoundingClientRect();
    const below = (at.anchor.closest('.sentence') ?? at.anchor).getBoundingClientRect();
    const width = element.offsetWidth;
    const left = Math.max(8, Math.min(word.left - 12, innerWidth - width - 8));
    element.style.left = `${left + scrollX}px`;
    element.style.top = `${below.bottom + 4 + scrollY}px`;
  };
  /** Brings the panel and the sentence above it into sight. */
  const reveal = () => {
    const bar = document.querySelector('.bar')?.offsetHeight ?? 0;
    const above = (at.anchor.closest('.sentence') ?? at.anchor).getBoundingClientRect();
    const own = element.getBoundingClientRect();
    if (element.hasAttribute('data-foot')) {
      const over = above.bottom - (innerHeight - bar - element.offsetHeight) + 8;
      if (over > 0 || above.top < 0) scrollBy({ top: Math.min(over > 0 ? over : Infinity, above.top - 8), behavior: 'instant' });
      return;
    }
    const over = own.bottom - (innerHeight - bar) + 12;
    if (over > 0) scrollBy({ top: Math.min(over, Math.max(0, above.top - 8)), behavior: 'instant' });
  };

  const close = (back) => {
    if (!at) return;
    const { anchor, key } = at;
    at = null;
    element.hidePopover();
    element.replaceChildren();
    if (key) closed(key);
    if (back && anchor.isConnected) anchor.focus();
  };
  const show = (next) => {
    if (at && at.key && at.key !== next.key) closed(at.key);
    at = next;
    wrong.textContent = '';
    const title = make('h4', { id: 'editor-title' }, next.title);
    const end = make('button', { type: 'button', class: 'close', 'aria-label': 'Close', onclick: () => close(true) }, '×');
    element.replaceChildren(make('div', { class: 'head' }, title, end), ...(next.about?.length ? [make('p', { class: 'what' }, ...[].concat(next.about))] : []), ...next.held.filter(Boolean), wrong);
    if (!element.matches(':popover-open')) element.showPopover({ source: next.anchor });
    if (next.key) opened(next.key);
    next.refresh();
    if (!at) return;
    place();
    reveal();
    place();
    next.focus();
    if (!element.contains(document.activeElement)) end.focus();
  };
  document.addEventListener('keydown', (event) => {
    if (event.key !== 'Escape' || !at || document.querySelector('dialog[open]')) return;
    event.preventDefault();
    close(true);
  });
  // A click elsewhere closes it; what plays, undoes and saves works beside it.
  document.addEventListener('pointerdown', (event) => {
    if (at && !event.target.closest('#editor, .word, .bar, .desk-bar, .tempo, [data-add]')) close(false);
  });
  addEventListener('resize', place);
  /** It belongs to another word now: a key that was behind a `more` has become one. */
  const move = (key, anchor) => {
    if (!at || at.key === key) return;
    closed(at.key);
    Object.assign(at, { key, anchor });
    opened(key);
  };
  return { show, close, move, open: () => at !== null, key: () => at?.key ?? null, refresh: () => { if (at) { at.refresh(); place(); } }, problem: (words) => { if (at) wrong.textContent = words; } };
};

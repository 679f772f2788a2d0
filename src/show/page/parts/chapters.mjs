// The players of the page: one, or one a chapter. One chapter is open at a time, and only it sounds.
import { makeAnswers } from './answers.mjs';
import { makeBar } from './bar.mjs';
import { makeBlind } from './blind.mjs';
import { makeLanes } from './lanes.mjs';
import { level } from './level.mjs';
import { makePlayer } from './player.mjs';
import { makeState } from './state.mjs';
import { makeZoom } from './zoom.mjs';

/** A player: all that is below `root`, whose ids begin with `prefix`. */
const mount = (root, prefix) => {
  const page = makeState(root, prefix);
  const bar = makeBar(page);
  const player = makePlayer(page);
  const answers = makeAnswers(page, player);
  const zoom = makeZoom(page);
  const lanes = makeLanes(page, zoom);
  return { ...page, bar, player, answers, zoom, lanes, blind: makeBlind(page, player) };
};

export const chapters = (() => {
  const pages = [...document.querySelectorAll('[data-player]')].map((root) => mount(root, root.dataset.player));
  const folds = [...document.querySelectorAll('[data-chapter]')];
  let open = 0;

  const fold = (n, folded) => {
    folds[n].toggleAttribute('data-folded', folded);
    folds[n].querySelector('.unfold').setAttribute('aria-expanded', String(!folded));
  };
  /** Opens a chapter and folds the others. */
  const show = (n) => {
    if (n === open) { fold(n, false); return; }
    pages[open].player.stop();
    open = n;
    folds.forEach((_, other) => fold(other, other !== n));
  };
  const named = (hash) => folds.findIndex((chapter) => `#${chapter.id}` === hash);
  const follow = (hash) => {
    const n = named(hash);
    if (n < 0) return;
    show(n);
    folds[n].scrollIntoView();
  };

  level.asks({ ask: () => pages[open].bar.ask(), dismiss: () => pages.forEach((page) => page.bar.close(false)) });
  folds.forEach((chapter, n) => {
    fold(n, n !== 0);
    chapter.querySelector('.unfold').addEventListener('click', () => {
      if (n !== open || chapter.hasAttribute('data-folded')) {
        show(n);
        // What was folded above it has moved it.
        chapter.scrollIntoView();
      } else {
        pages[n].player.stop();
        fold(n, true);
      }
    });
  });
  for (const link of document.querySelectorAll('[data-to-chapter]')) {
    link.addEventListener('click', () => {
      follow(link.hash);
      const n = named(link.hash);
      // After the browser has gone there itself, which takes the focus away.
      if (n >= 0) setTimeout(() => folds[n].querySelector('.unfold').focus(), 0);
    });
  }
  if (folds.length) {
    window.addEventListener('hashchange', () => follow(location.hash));
    if (named(location.hash) >= 0) follow(location.hash);
  }
  // On paper all tables are open.
  const tables = () => document.querySelectorAll('details:not(.answer):not([open])');
  let opened = [];
  window.addEventListener('beforeprint', () => { opened = [...tables()]; opened.forEach((table) => { table.open = true; }); });
  window.addEventListener('afterprint', () => { opened.forEach((table) => { table.open = false; }); });
  return { pages, folds, show, open: () => pages[open], number: () => open };
})();

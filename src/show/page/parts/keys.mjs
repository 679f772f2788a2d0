// Keys for everything; `?` shows them. They work on the player that is open.
import { chapters } from './chapters.mjs';

export const keys = (() => {
  const list = document.getElementById('keys');
  const on = document.getElementById('keys-on');
  const typing = (target) => target.matches && target.matches('input:not([type="radio"]):not([type="range"]):not([type="checkbox"]), select, textarea');
  /** Whether letters act where this event comes from. */
  const act = (event) => on.checked && !event.ctrlKey && !event.metaKey && !event.altKey && !typing(event.target);
  document.addEventListener('keydown', (event) => {
    if (!act(event)) return;
    const { player, blind, state, data } = chapters.open();
    const key = event.key.toLowerCase();
    const button = event.target.matches && event.target.matches('button, [role="button"], summary, a, input[type="checkbox"], input[type="radio"]');
    const acts = {
      ' ': () => { if (button) return false; player.toggle(); return true; },
      p: () => { player.toggle(); return true; },
      t: () => { player.tempo((state.tempo + (event.shiftKey ? data.tempos.length - 1 : 1)) % data.tempos.length); return true; },
      v: () => { player.beside(event.shiftKey ? -1 : 1); return true; },
      l: () => { player.longer(event.shiftKey ? -1 : 1); return true; },
      '+': () => { player.louder(3); return true; },
      '=': () => { player.louder(3); return true; },
      '-': () => { player.louder(-3); return true; },
      a: () => blind.running() && (event.shiftKey ? blind.answer('a') : blind.hear('a'), true),
      b: () => blind.running() && (event.shiftKey ? blind.answer('b') : blind.hear('b'), true),
      x: () => blind.running() && (blind.hear('x'), true),
      '?': () => { if (list.open) list.close(); else list.showModal(); return true; },
    };
    if (/^[1-9]$/.test(key) && Number(key) <= data.variants.length) { player.version(Number(key) - 1); event.preventDefault(); return; }
    if (acts[key] && acts[key]()) event.preventDefault();
  });
  for (const page of chapters.pages) page.$('keys-open').addEventListener('click', () => list.showModal());
  document.getElementById('keys-close').addEventListener('click', () => list.close());
  return { act, typing };
})();

// What is being changed is called `now` while the file has it otherwise, with the version that the file has beside it; the data keep `original`.
import { called } from './called.mjs';
import { desk } from './desk.mjs';
import { live } from './live.mjs';

/** What the patch is called in its data, and the version that the file has. */
const OWN = 'original', SAVED = 'as saved';

export const versions = (() => {
  const { page } = live, { data, state, player } = page;
  const $ = (id) => document.getElementById(id);
  const names = () => data.variants.map(({ name }) => name);

  /** Calls it so wherever the page heads something with its name, or lets it be chosen. */
  const show = () => {
    const word = called.of(OWN);
    for (const element of document.querySelectorAll('.lead b.name, #answers [role="rowheader"] b')) {
      if (element.textContent === OWN && element.dataset.called === undefined) element.dataset.called = OWN;
      if (element.dataset.called === OWN && element.textContent !== word) element.textContent = word;
    }
    for (const id of ['version', 'blind-a', 'blind-b']) {
      names().forEach((name, n) => { const option = $(id).options[n]; if (option && option.textContent !== called.of(name)) option.textContent = called.of(name); });
    }
    const saved = names().indexOf(SAVED);
    $('desk-hear').hidden = saved < 0;
    $('hear-now').textContent = word;
    $('hear-now').setAttribute('aria-pressed', String(state.version === 0));
    $('hear-saved').setAttribute('aria-pressed', String(state.version === saved));
  };
  $('hear-now').addEventListener('click', () => player.version(0));
  $('hear-saved').addEventListener('click', () => player.version(names().indexOf(SAVED)));
  desk.onShown((now) => {
    // A fix may have the name.
    const word = names().includes('now') ? 'as it is now' : 'now';
    if (called.call(OWN, now.saved ? null : word)) page.tell(); else show();
  });
  live.onTaken(show);
  page.changed.push(show);
  return { show };
})();

// A page that is served follows its patch: it is told of each change, fetches what is new, and takes it over while it plays.
import { chapters } from './chapters.mjs';

export const live = (() => {
  const page = chapters.pages[0], { root, $, data } = page;
  const says = $('live-says'), fault = $('live-fault');
  let edition = Number($('live').dataset.edition), sheets = null, waiting = null, source = null;
  const whenTaken = [];

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
    says.textContent = words;
    if (fault.textContent !== wrong) fault.textContent = wrong;
  };

  const take = (now) => {
    if (sheets !== null && sheets !== now.sheets) { location.reload(); return; }
    sheets = now.sheets;
    if (now.edition !== edition) {
      // A test is of the versions with which it was begun.
      if (page.blind.busy()) {
        waiting = now;
        tell('The patch has changed. The page takes it over when this test is done.', now.fault ?? '');
        return;
      }
      edition = now.edition;
      for (const [id, options] of Object.entries(now.options)) $(id).replaceChildren(markup(options));
      page.take(now.data, [...$('bars').options].map((option) => Number(option.value)));
      document.title = now.title;
      document.querySelector('h1').textContent = now.title;
      document.querySelector('.lead').replaceChildren(markup(now.lead));
      for (const name of ['pictures', 'figures', 'about']) put(name, now[name]);
      page.blind.renew();
      page.answers.renew(markup(now.answers).firstElementChild);
      page.tell();
      page.player.renew();
      whenTaken.forEach((listener) => listener(now));
      tell(`Taken over at ${new Date().toLocaleTimeString()}.`, now.fault ?? '');
      return;
    }
    tell(now.fault ? 'The patch has a fault; this is the last version without.' : 'This page follows the patch: save the file, and hear it.', now.fault ?? '');
  };

  let asked = 0;
  /** Fetches what there is now; of several askings the last counts. */
  const look = async () => {
    asked += 1;
    const mine = asked;
    const answer = await fetch('/now', { cache: 'no-store' });
    if (!answer.ok) throw new Error(`${answer.status}`);
    const now = await answer.json();
    if (mine === asked) take(now);
  };
  const lost = () => {
    if (source) source.close();
    source = null;
    tell('The program has ended. What is here stays; start `hitgap open` again to go on.', fault.textContent);
  };
  const follow = () => {
    source = new EventSource('/events');
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
  return { edition: () => edition, data, look, onTaken: (listener) => whenTaken.push(listener) };
})();
globalThis.hitgap.live = live;

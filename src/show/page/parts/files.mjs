// Files from a button: how far the program is with them, a way to stop it, and where they lie.
import { desk } from './desk.mjs';
import { live } from './live.mjs';
import { make } from './make.mjs';

/** So often the program is asked how far it is. */
const LOOK_MS = 300;

export const files = (() => {
  const $ = (id) => document.getElementById(`files-${id}`);
  const place = document.getElementById('files');
  // Below all that is looked at while turning.
  document.getElementById('live').parentElement.append(place);
  let timer = null;
  const say = (words) => { if ($('says').textContent !== words) $('says').textContent = words; };
  const show = (job) => {
    place.hidden = false;
    const runs = job !== null && !job.over;
    for (const id of ['render', 'compare']) $(id).disabled = runs;
    for (const id of ['stop', 'share']) $(id).hidden = !runs;
    $('share').value = job?.share ?? 0;
    // How far it is changes too often to be read out.
    $('at').textContent = runs ? job.at : '';
    if (job) say(runs ? `${job.do === 'render' ? 'The sound files are' : 'The comparison files are'} being made.` : job.error ?? `Made, of the patch as it was then.${job.says.length ? ` ${job.says.join(' ')}` : ''}`);
    $('made').replaceChildren(...(job?.over ? job.files ?? [] : []).map((one) => make('li', {}, make('code', {}, one))));
    clearTimeout(timer);
    if (runs) timer = setTimeout(look, LOOK_MS);
  };
  const look = async () => {
    try {
      const answer = await fetch('/progress', { cache: 'no-store' });
      if (answer.ok) show(await answer.json());
    } catch { live.lost(); }
  };
  const ask = async (path, body) => {
    try {
      const answer = await fetch(path, { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(body) });
      const text = await answer.text();
      if (answer.ok) { show(JSON.parse(text)); return; }
      let says = text;
      try { says = JSON.parse(text).says; } catch { /* It is a text. */ }
      say(says);
    } catch { live.lost(); }
  };
  $('render').addEventListener('click', () => ask('/files', { do: 'render' }));
  $('compare').addEventListener('click', () => ask('/files', { do: 'compare' }));
  $('stop').addEventListener('click', () => { ask('/stop', {}); $('render').focus(); });
  // Where there is no desk there is nobody to make files.
  let asked = false;
  desk.onShown(() => { if (!asked) look(); asked = true; });
  return { look };
})();

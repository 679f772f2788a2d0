// What was changed, kept as a fix: since when is asked, and what was typed stays until it is done.
import { button, make } from './make.mjs';
import { sincesOf } from './since.mjs';
import { freeName } from './words.mjs';

/** Names that no fix may have. */
const TAKEN = ['original', 'matched', 'now', 'as saved'];

/** `now` gives the desk, `edit` sends edits, `want` says where the focus goes, `past` brings the text of before. */
export const makeKeeping = ({ now, panel, edit, want, past }) => {
  /** What was typed and is not kept yet. */
  let typed = null;
  /** What is being tried: `{ says, text, name, about }`, where that is another text than there is now. */
  let trial = null;
  const names = () => now().sentences.filter(({ kind }) => kind === 'fix').map((one) => one.name);
  const trying = () => (trial && trial.text !== now().text ? trial : null);
  const able = () => sincesOf(now(), trying()).length > 0;

  const open = (anchor, first = null) => {
    const all = sincesOf(now(), trying());
    if (!all.length) return;
    const proposed = first ?? (trying() ? trial : null);
    const given = first ? null : typed;
    const name = make('input', { type: 'text', maxLength: 64, value: given?.name ?? freeName(proposed?.name ?? 'fix', [...names(), ...TAKEN]), autocomplete: 'off', spellcheck: false });
    const about = make('input', { type: 'text', maxLength: 200, value: given?.about ?? proposed?.about ?? '', autocomplete: 'off' });
    const count = make('input', { type: 'number', min: '1', max: String(now().undo), step: '1', value: '1', 'aria-label': 'how many changes', class: 'few' });
    const radios = all.map(({ since, says }, n) => {
      const radio = make('input', { type: 'radio', name: 'keep-since', value: since, checked: n === 0 });
      const words = since === 'steps' ? ['the last ', count, ' changes'] : [says];
      return { since, radio, row: make('label', { class: 'choice' }, radio, make('span', {}, ...words)) };
    });
    count.addEventListener('input', () => { radios.find(({ since }) => since === 'steps').radio.checked = true; });
    let sent = null;
    const keep = async () => {
      const own = name.value.trim(), words = about.value.trim();
      if (!own) { panel.problem('The fix needs a name.'); name.focus(); return; }
      const { since } = radios.find(({ radio }) => radio.checked) ?? radios[0];
      const steps = Math.max(1, Math.min(now().undo, Math.round(Number(count.value)) || 1));
      panel.problem('');
      try {
        const of = since === 'trial' ? trial.text : await past(since === 'steps' ? String(steps) : since);
        sent = own;
        want(`fix.${own}`);
        edit([{ do: 'keep', fix: own, ...(words ? { about: words } : {}), of }]);
      } catch (error) { panel.problem(error.message); }
    };
    const type = () => { typed = { name: name.value, about: about.value }; };
    for (const field of [name, about]) {
      field.addEventListener('input', type);
      field.addEventListener('keydown', (event) => { if (event.key === 'Enter') { event.preventDefault(); keep(); } });
    }
    panel.show({
      key: null, anchor, title: 'Keep as a fix', about: 'What has changed becomes a fix; the rest is again as it was.',
      held: [
        make('fieldset', { class: 'choices since' }, make('legend', {}, 'What has changed'), ...radios.map(({ row }) => row)),
        make('label', { class: 'field' }, 'Name ', name), make('label', { class: 'field' }, 'What it does ', about),
        make('div', { class: 'row tight' }, button('Keep', keep, { class: 'main' })),
      ],
      focus: () => { name.focus(); name.select(); },
      // A refusal stands in the dialog, with all that was typed; what is kept is among the fixes.
      refresh: () => {
        count.max = String(now().undo);
        if (sent === null || !names().includes(sent)) return;
        [typed, trial, sent] = [null, null, null];
        panel.close(false);
      },
    });
  };
  return {
    open, able, trying,
    /** Something is tried from now on, or nothing. */
    tries: (next) => { trial = next; },
  };
};

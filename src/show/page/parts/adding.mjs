// What can be added to a rig: the kit's own, or a plain one; and what is said of it once it is there.
import { make, signs } from './make.mjs';
import { freeName, sentenceOf, signsOf } from './words.mjs';

/** `now` gives the desk, `edit` sends edits, `want` says where the focus goes. */
export const makeAdding = ({ now, panel, edit, want }) => {
  /** The sentence of what was added last, and what is said of it. */
  let fresh = null;

  const open = (kind, anchor) => {
    const desk = now(), plain = desk.can.add.find((one) => one.kind === kind);
    const taken = desk.sentences.map((one) => one.name);
    const add = (name, to, note) => {
      const own = name && freeName(name, taken);
      want(own ? `${kind}.${own}` : null);
      panel.close(false);
      edit([{ do: 'add', at: own ? [kind, own] : [kind], to }]);
      fresh = note ? { id: `${kind}.${own}`, says: sentenceOf(note) } : null;
    };
    const like = (one) => one.to ?? { like: one.name, steps: plain?.to.steps ?? 'x...x...x...x...' };
    const offers = [
      ...(plain ? [{ says: `plain ${plain.says.replace(/^an? /, '')}`, about: plain.about ?? '', note: plain.note, act: () => add(plain.name, plain.to, plain.note) }] : []),
      ...(kind === 'sequencer' ? desk.can.boxes.map((one) => ({ says: one.says ?? one.name, about: [one.about, one.tell].filter(Boolean).join('. '), note: one.note, act: () => add(one.name, like(one), one.note) })) : []),
      ...(kind === 'stage' ? desk.can.components.map((one) => ({ says: one.name, about: one.about, act: () => add(one.name, one.to) })) : []),
      ...(kind === 'voice' ? desk.can.voices.filter((one) => one.to).map((one) => ({ says: one.name, about: one.about ?? '', act: () => add(one.name, one.to) })) : []),
    ];
    if (offers.length === 1) { offers[0].act(); return; }
    panel.show({
      key: null, anchor, title: `Add ${plain?.says ?? `a ${kind}`}`, about: sentenceOf(plain?.note),
      held: [make('ul', { class: 'keys' }, ...offers.map(({ says, about, act }) => make('li', {}, make('button', { type: 'button', class: 'key', onclick: act }, make('b', {}, says), about ? make('span', { class: 'about' }, ...signs(signsOf(about))) : ''))))],
      focus: () => document.querySelector('#editor .key')?.focus(), refresh: () => {},
    });
  };
  return {
    open,
    /** What is said of a sentence that is new. */
    said: (id) => (fresh?.id === id ? fresh.says : null),
    /** Something else is done: nothing is new any more. */
    over: () => { fresh = null; },
  };
};

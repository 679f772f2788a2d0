// What can be done with a cure: it is tried in the patch, or kept as a fix, before it is tried or after.
import { keptEdits, triedEdits } from './cure.mjs';
import { desk } from './desk.mjs';
import { live } from './live.mjs';
import { button, make } from './make.mjs';

/** Two buttons for a cure, in a fix that is at hand or in the patch itself. `say` tells what was done, `still` hears of a change that leaves the
 * patch itself as it is. */
export const makeCures = (say, still) => {
  const { page } = live;
  /** What was tried last and touched no more is taken back before another thing is done. */
  const takenBack = () => {
    const now = desk.now(), trial = desk.keeping.trying();
    if (!trial || trial.after !== now.text) return now.text;
    desk.outbox.other('/text', { text: trial.text }, 'PUT');
    return trial.text;
  };
  desk.onShown((now) => {
    const trial = desk.keeping.trying();
    if (trial && trial.after === undefined) trial.after = now.text;
  });
  const tried = (cure, fix) => {
    const now = desk.now();
    // What is tried in the patch itself is heard there.
    if (fix === null) page.player.version(0);
    desk.keeping.tries({ says: cure.name, text: takenBack(), name: cure.name, about: cure.about });
    desk.edit(triedEdits(cure, now, fix));
    say(`${cure.name} is tried: hear it, and undo leads back.`);
  };
  const kept = (cure, fix, anchor) => {
    const now = desk.now(), trial = desk.keeping.trying();
    // It is in the patch already: what the patch had before is asked for by its name.
    if (fix === null && trial?.name === cure.name) { desk.keeping.open(anchor, trial); return; }
    const { name, edits } = keptEdits(cure, now, fix);
    if (fix === null) takenBack();
    still();
    desk.edit(edits);
    say(`It is kept as the fix ${name}; ${fix ?? 'the patch itself'} is as it was.`);
  };
  /** `fixOf` says which fix is at hand, `cureOf` what the cure is then. */
  return (what, cureOf, fixOf = () => null) => make('span', { class: 'pair' },
    button('Try it', () => tried(cureOf(), fixOf()), { 'aria-label': `Try ${what}` }),
    button('Keep as a fix', (event) => kept(cureOf(), fixOf(), event.currentTarget), { 'aria-label': `Keep ${what} as a fix` }));
};

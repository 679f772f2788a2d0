// What a box did at each test, and the ways of reading its reset that are left.
import { engine } from './engine.mjs';
import { sound } from './sound.mjs';

/** The ways that agree with what was heard; null stands for a test that is not sure. */
export const left = (ways, said) =>
  ways.filter((way) => way.answers.every((answer, n) => said[n] === null || said[n] === answer));

/** The tests, from 0, of which another answer would leave some way. */
export const doubtful = (ways, said) =>
  said.map((_, n) => n).filter((n) => said[n] !== null && left(ways, said.map((answer, m) => (m === n ? null : answer))).length > 0);

/** What is said of the ways that are left. */
export const told = (ways, said, dials) => {
  const now = left(ways, said);
  if (now.length === 0) {
    const again = doubtful(ways, said).map((n) => n + 1);
    const listen = again.length ? ` Listen once more to test ${again.join(' or ')}: with another answer there it would fit.` : '';
    return `No way of reading that is known here answers so.${listen} A box that looks at its inputs now and then, or gathers what comes close together, may answer now so, now so.`;
  }
  if (now.length === 1) return 'One way is left. These lines say so in the patch:';
  const open = said.findIndex((answer) => answer === null);
  if (open < 0) return `${now.length} ways are left, and ${dials ? 'no test here tells' : 'a clock without dials does not tell'} them apart.`;
  return `${now.length} of ${ways.length} ways are left. Next: test ${open + 1}.`;
};

/** The section of a page that asks; nothing where there is none. */
export const mountIdentify = (page) => {
  const root = page.root.querySelector('[data-identify]');
  if (!root) return;
  const $ = (id) => document.getElementById(`identify-${id}`);
  const data = JSON.parse($('data').textContent);
  const said = data.tests.map(() => null);
  const frames = Math.round((data.ms / 1000) * page.data.rate);
  const loops = new Map();
  /** What an answer sounds like, mixed once. */
  const loop = (test, answer) => {
    const key = `${test}/${answer}`;
    if (!loops.has(key)) {
      const hits = data.tests[test].answers[answer].map(([ms, voice, gain]) => [ms / 1000, voice, gain]);
      loops.set(key, engine.mix(page.voices, hits, page.data.rate, frames, true));
    }
    return loops.get(key);
  };
  const hear = async (test, answer) => {
    page.player.stop();
    // All answers of a test as one set: equally loud.
    const all = data.tests[test].answers.map((_, n) => loop(test, n));
    if (await sound.play(all, page.data.rate, answer)) page.say(`playing test ${test + 1}, answer ${'abcdefghijklmnopqrstuvwxyz'[answer]}`);
  };
  const item = (way) => {
    const li = document.createElement('li');
    const name = document.createElement('code');
    name.textContent = way.name;
    const button = document.createElement('button');
    button.type = 'button';
    button.textContent = 'Hear it in your patch';
    button.setAttribute('aria-label', `Hear it in your patch: ${way.name}`);
    button.addEventListener('click', () => {
      page.player.stop();
      page.player.version(way.version);
      page.player.start(() => 0);
    });
    li.append(name, ' ', button);
    return li;
  };
  const show = () => {
    const now = left(data.ways, said);
    $('left').textContent = told(data.ways, said, data.dials);
    $('ways').replaceChildren(...now.map(item));
    const only = now.length === 1 ? now[0] : null;
    $('lines').hidden = only === null;
    $('toml').textContent = only ? only.lines[0].join('\n') : '';
    const others = only ? only.lines.slice(1) : [];
    $('others').textContent = others.length ? `Nothing that the clock can do tells it from: ${others.map((lines) => lines.join(', ')).join('; or ')}. For your box it does not matter which.` : '';
    $('copied').textContent = '';
  };
  for (const button of root.querySelectorAll('[data-hear]')) {
    const [test, answer] = button.dataset.hear.split('/').map(Number);
    button.addEventListener('click', () => hear(test, answer));
  }
  for (const radio of root.querySelectorAll('[data-test]')) {
    radio.addEventListener('change', () => {
      said[Number(radio.dataset.test)] = radio.value === '' ? null : Number(radio.value);
      show();
    });
  }
  $('stop').addEventListener('click', () => page.player.stop());
  $('copy').addEventListener('click', () => {
    // A page from disk may not reach the clipboard by itself: what is marked can be copied by hand.
    const range = document.createRange();
    range.selectNodeContents($('toml'));
    const marked = getSelection();
    marked.removeAllRanges();
    marked.addRange(range);
    $('copied').textContent = document.execCommand('copy') ? 'Copied.' : 'The lines are marked: copy them.';
  });
  show();
};

// A class hands in what its blind tests came to: the table of all of them, and what they come to together.
import { blindFile } from './blind-file.mjs';
import { chance } from './chance.mjs';

export const classTable = (() => {
  const MOST_FILES = 300;
  const thing = (t) => JSON.stringify([t.patch, t.bpm, ...t.sides.map((s) => [s.name, s.gap]).sort().flat()]);
  const count = (n, noun) => `${n} ${noun}${n === 1 ? '' : 's'}`;

  /** Of tests that were read, those that are none twice, each with how many its listener took of the same thing: at hand, or by
   * the count of the page. Tests without a name are one listener's. */
  const counted = (tests) => {
    const key = (t) => JSON.stringify([t.who, thing(t)]);
    const once = [...new Map(tests.map((t) => [JSON.stringify([key(t), t.same]), t])).values()];
    return once.map((t) => {
      const own = once.filter((o) => key(o) === key(t));
      const known = Math.max(own.length, ...own.map((o) => o.tests)), p = chance.atLeast(t.right, t.of), best = chance.bestOf(p, known);
      return { ...t, p, known, heard: p < 0.05 && best < 0.05 };
    });
  };

  /** The rows of the table, in order of who. */
  const rows = (tests) => [...tests].sort((a, b) => (a.who < b.who ? -1 : a.who > b.who ? 1 : 0)).map((t) => [
    t.who || 'no name', t.sides.map((s) => s.name).join(', '), String(t.bpm), `${t.right} of ${t.of}`, `in ${chance.percent(t.p)} of tests`,
    t.heard ? 'heard' : t.p < 0.05 ? `one of ${t.known} tests: not shown` : 'not shown',
  ]);

  /** What all tests of one thing come to, a sentence each; how many show it by themselves stands first. */
  const together = (tests) => {
    if (!tests.length) return [];
    const heard = tests.filter((t) => t.heard).length;
    const things = [...new Set(tests.map(thing))].map((key) => tests.filter((t) => thing(t) === key)).filter((own) => own.length > 1);
    return [
      `${heard} of ${count(tests.length, 'test')} ${heard === 1 ? 'shows' : 'show'} that the difference is heard; of twenty that are guessed, one would.`,
      ...things.map((own) => {
        const [right, of] = [own.reduce((n, t) => n + t.right, 0), own.reduce((n, t) => n + t.of, 0)];
        const who = new Set(own.map((t) => t.who)).size;
        return `${own[0].sides.map((s) => s.name).join(' and ')} at ${own[0].bpm}, ${count(who, 'listener')} together: right ${right} times of ${of}; guessing does that, or better, in ${chance.percent(chance.atLeast(right, of))} of cases.`;
      }),
    ];
  };

  return { MOST_FILES, counted, rows, together };
})();

/** The part of a lesson's page that takes files; nothing where the page has none. */
export const classSheet = (() => {
  const root = typeof document === 'undefined' ? null : document.getElementById('class');
  if (!root) return null;
  const $ = (id) => document.getElementById(`class-${id}`);
  let tests = [];

  const show = (faults) => {
    const all = classTable.counted(tests);
    const cells = classTable.rows(all).map((row) => {
      const line = document.createElement('tr');
      line.append(...row.map((words) => { const cell = document.createElement('td'); cell.textContent = words; cell.dir = 'auto'; return cell; }));
      return line;
    });
    $('rows').replaceChildren(...cells);
    $('shown').hidden = !cells.length;
    const lines = (words) => words.map((said) => { const p = document.createElement('p'); p.textContent = said; return p; });
    $('together').replaceChildren(...lines(classTable.together(all)));
    $('faults').replaceChildren(...lines(faults.slice(0, 20)));
    // The day where the class is.
    const now = new Date(), two = (n) => String(n).padStart(2, '0');
    $('date').textContent = `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
    $('said').textContent = `${all.length} ${all.length === 1 ? 'test' : 'tests'} read${faults.length ? `, ${faults.length} not` : ''}`;
  };

  /** Counts how often it was begun anew. */
  let round = 0;
  /** Reads files one after the other; what is none of ours is told and left out. */
  const take = async (files) => {
    const faults = [], list = [...files], mine = round;
    for (const file of list.slice(0, classTable.MOST_FILES)) {
      const name = [...String(file.name)].slice(0, 100).join('');
      if (file.size > blindFile.MOST_BYTES) { faults.push(`${name}: it is larger than any blind test`); continue; }
      const { test, fault } = await file.text().then(blindFile.read, () => ({ fault: 'it cannot be read' }));
      // Begun anew meanwhile: what is still being read belongs to what was cleared away.
      if (mine !== round) return;
      if (test) tests.push(test); else faults.push(`${name}: ${fault}`);
    }
    if (list.length > classTable.MOST_FILES) faults.push(`more than ${classTable.MOST_FILES} files: the others are left out`);
    show(faults);
  };

  $('files').addEventListener('change', async () => { await take($('files').files); $('files').value = ''; });
  const drop = $('drop');
  for (const kind of ['dragenter', 'dragover']) root.addEventListener(kind, (event) => { event.preventDefault(); drop.dataset.over = ''; });
  for (const kind of ['dragleave', 'drop']) root.addEventListener(kind, () => { delete drop.dataset.over; });
  root.addEventListener('drop', (event) => { event.preventDefault(); take(event.dataTransfer.files); });
  // What is dropped beside the place for it would be opened by the browser, and the table lost.
  for (const kind of ['dragover', 'drop']) window.addEventListener(kind, (event) => event.preventDefault());
  $('clear').addEventListener('click', () => { round += 1; tests = []; show([]); $('said').textContent = ''; });
  $('print').addEventListener('click', () => { document.documentElement.dataset.print = 'class'; window.print(); });
  window.addEventListener('afterprint', () => { delete document.documentElement.dataset.print; });
  return { take };
})();

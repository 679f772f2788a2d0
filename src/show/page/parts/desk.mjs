// The rig as sentences: words that open to what can stand there, lanes below their boxes, and what is done to all of it.
import { makeAdding } from './adding.mjs';
import { called } from './called.mjs';
import { makeEditor, makeShown } from './editors.mjs';
import { makeDressed, pressed } from './dress.mjs';
import { makeKeeping } from './keeping.mjs';
import { keys } from './keys.mjs';
import { live } from './live.mjs';
import { button, make, signs } from './make.mjs';
import { morph } from './morph.mjs';
import { makeOutbox } from './outbox.mjs';
import { makePanel } from './panel.mjs';
import { calledOf, clearsOf, editsOf, fixOf, freeName, GROUPS, groupOf, heldOf, keyOf, sentenceOf, signsOf, wholeOf, wordOf } from './words.mjs';

export const desk = (() => {
  const $ = (id) => document.getElementById(id);
  const { page } = live;
  const rig = $('rig');
  /** The desk as the server has it; null until it is told. */
  let now = null;
  const whenShown = [], whenRefused = [], whenText = [];
  const problem = (words) => { if ($('desk-problem').textContent !== words) $('desk-problem').textContent = words; };
  const fix = () => (now ? fixOf(now, page.data.variants[page.state.version].name) : null);

  // What is sent.
  let base = 0;
  /** When what was changed last was sent, answered, and handed to the sound. */
  const timing = { sent: 0, answered: 0, sounds: 0 };
  /** Whether another patch is open than this page's: then the page becomes that one's. */
  const another = (told) => {
    const is = Boolean(told?.patch && now?.patch && told.patch !== now.patch);
    if (is) location.reload();
    return is;
  };
  const send = async ({ path, body, method = 'POST' }) => {
    const answer = await fetch(path, { method, headers: { 'Content-Type': 'application/json' }, body: JSON.stringify({ ...body, ...live.asks() }) });
    const text = await answer.text();
    timing.answered = performance.now();
    let told = null;
    try { told = live.read(text); } catch { return { status: answer.status, path, says: text }; }
    if (another(told.desk)) return new Promise(() => {});
    return { status: answer.status, path, ...told };
  };
  const outbox = makeOutbox({
    send,
    base: () => base,
    taken: (answer) => {
      base = answer.desk.revision;
      panel.problem('');
      // The sound before the words.
      live.near(answer.near, base).then((sounds) => {
        if (sounds !== null) timing.sounds = sounds;
        live.heardOf(answer.desk);
        verdict();
      }).catch(live.lost);
    },
    refused: (answer, request) => {
      unsent = true;
      wanted = null;
      if (answer.desk) live.heardOf(answer.desk);
      whenRefused.forEach((listener) => listener(answer, request));
      if (answer.status === 409 && request.path !== '/edit') return;
      const words = answer.says ?? `The program answers ${answer.status}.`;
      if (panel.open()) panel.problem(words); else problem(words);
    },
    lost: () => live.lost(),
  });
  const edit = (edits, gesture = null) => { timing.sent = performance.now(); adding.over(); outbox.edit(edits, gesture); };
  live.onBack(() => { if (now) outbox.again(); });

  // The panel in which a word opens.
  /** The place of a word: a rate may stand in its clock's sentence and in that of a box. */
  const spotAt = (spot) => [...rig.querySelectorAll('.word')].find((element) => element.dataset.spot === spot) ?? null;
  const wordAt = (key) => [...rig.querySelectorAll('.word')].find((element) => element.dataset.key === key) ?? null;
  /** A word's element in a sentence, or in another where it does not stand there any more. */
  const elementOf = (key, sentence) => spotAt(`${sentence} ${key}`) ?? wordAt(key);
  const panel = makePanel($('editor'), {
    closed: (spot) => mark(spot, false),
    opened: (spot) => mark(spot, true),
  });
  const mark = (spot, open) => {
    const element = spot && spotAt(spot);
    if (element) element.setAttribute('aria-expanded', String(open));
  };
  let opened = 0, unsent = true;
  /** What has the focus when the answer is there. */
  let wanted = null;

  /** Opens a word, or one behind a `more`, in a sentence. */
  const open = (key, sentence = null, spot = null) => {
    const word = wordOf(now, key);
    const anchor = word && (spotAt(spot) ?? elementOf(word.behind ?? key, sentence));
    if (!anchor) return;
    if (word.takes.is === 'more') { openMore(word, anchor); return; }
    opened += 1;
    const gesture = `${key} ${opened}`;
    const of = anchor.closest('.sentence').dataset.id;
    /** What goes along with the first value goes once, unless it was refused. */
    unsent = true;
    const tables = word.takes.is !== 'name' && !word.takes.limits && word.value !== null && typeof word.value === 'object' && !Array.isArray(word.value);
    const editor = tables ? makeShown(word.value, () => { panel.close(false); whenText.forEach((listener) => listener(word.at)); }) : makeEditor(word.takes, (value) => {
      const own = wordOf(now, key) ?? word;
      edit(editsOf(own, value, fix(), unsent), gesture);
      unsent = false;
      if (word.takes.is !== 'name') return;
      wanted = [...word.at.slice(0, -1), value].join('.');
      panel.close(false);
    });
    editor.show(word.takes.is === 'name' ? word.at[word.at.length - 1] : heldOf(word), word.takes);
    const acts = word.takes.is === 'name' ? wholeActs(word.at) : null;
    const foot = make('div', { class: 'row tight foot' });
    const also = make('p', { class: 'also' });
    const wrong = make('p', { class: 'problem' }), without = make('p', { class: 'hint' });
    const refresh = () => {
      const own = wordOf(now, key);
      const anchored = own && ((own.behind ? null : spotAt(spot)) ?? elementOf(own.behind ?? key, of));
      if (!anchored) { panel.close(true); return; }
      panel.move(anchored.dataset.spot, anchored);
      // What is on its way is newer than what is known.
      if (!outbox.waits() && own.takes.is !== 'name') editor.show(heldOf(own), own.takes);
      also.textContent = own.also ?? '';
      wrong.textContent = own.fault ?? '';
      without.textContent = (own.value ?? null) === null && own.without ? own.without === 'none' ? 'Not set.' : `Not set: the default is ${own.without}.` : '';
      const out = clearsOf(own, fix()), last = out?.[out.length - 1];
      morph(foot, make('div', {}, ...[
        out && make('button', { type: 'button', 'data-key': 'clear' }, last.fix ? 'As in the original' : own.without && own.without !== 'none' ? `Back to the default: ${own.without}` : 'Take it out'),
        own.behind && make('button', { type: 'button', 'data-key': 'back' }, 'Back'),
      ].filter(Boolean)), (element) => element.dataset.key ?? '');
    };
    foot.addEventListener('click', (event) => {
      const act = event.target.dataset.key, own = wordOf(now, key);
      if (act === 'clear') { edit(clearsOf(own, fix())); editor.focus(); }
      if (act === 'back') open(own.behind, of);
    });
    panel.show({ key: anchor.dataset.spot, anchor, title: calledOf(word), about: signs(signsOf(sentenceOf(word.about))), held: [editor.element, also, without, wrong, acts, foot], focus: editor.focus, refresh });
  };

  /** What can be done with the whole of a table. */
  const wholeActs = (at, renames = false) => {
    const able = wholeOf(at).filter((one) => one !== 'rename' || renames);
    if (!able.length) return null;
    const acts = {
      rename: () => open(at.join('.')),
      duplicate: () => {
        const taken = now.sentences.filter(({ kind }) => kind === at[0]).map((one) => one.name);
        const as = freeName(at[1], taken);
        wanted = [at[0], as].join('.');
        panel.close(false);
        edit([{ do: 'duplicate', at, as }]);
      },
      remove: () => {
        const others = now.sentences.filter((one) => groupOf(one.kind) === groupOf(at[0]) && one.id !== at.join('.'));
        const next = others[0] && now.words.find((one) => one.of === others[0].id);
        wanted = next ? keyOf(next) : null;
        panel.close(false);
        edit([{ do: 'remove', at }]);
      },
    };
    return make('div', { class: 'row tight foot' }, ...able.map((one) => button(`${one[0].toUpperCase()}${one.slice(1)}`, acts[one])));
  };
  /** The keys that are not set, and what can be done with the whole table. */
  const openMore = (word, anchor) => {
    const sentence = anchor.closest('.sentence').dataset.id;
    const own = word.takes.words.map((n) => now.words[n]).map((one) => make('li', {},
      make('button', { type: 'button', class: 'key', onclick: () => open(keyOf(one), sentence) }, make('b', {}, one.says), make('span', { class: 'about' }, ...signs(signsOf(one.about))))));
    panel.show({
      key: anchor.dataset.spot, anchor, title: calledOf(word), about: own.length ? 'These are not set: each has its default. Choose one to set it.' : 'Everything is set.',
      held: [own.length ? make('ul', { class: 'keys' }, ...own) : null, wholeActs(word.at, true)], focus: () => ['.key', '.foot button', '.close'].map((one) => $('editor').querySelector(one)).find(Boolean).focus(),
      refresh: () => { if (!wordOf(now, keyOf(word))) panel.close(true); },
    });
  };

  const shared = { now: () => now, panel, edit: (...given) => edit(...given), want: (key) => { wanted = key; } };
  const adding = makeAdding(shared);
  /** The text of before, since something. */
  const past = async (since) => {
    const answer = await fetch(`/past?${new URLSearchParams({ since })}`, { cache: 'no-store' });
    const told = await answer.json().catch(() => ({}));
    if (!answer.ok) throw new Error(told.says ?? `The program answers ${answer.status}.`);
    return told.text;
  };
  const keeping = makeKeeping({ ...shared, past });

  // The sentences.
  const groups = new Map(GROUPS.map(({ id, title, adds }) => {
    const sentences = make('div', { class: 'sentences' });
    const acts = make('div', { class: 'row tight adds' });
    const heading = make('h3', { id: `group-${id}` }, title);
    const folded = id === 'sounds';
    const held = [id === 'boxes' ? make('div', { class: 'lanes ruler', id: 'ruler', 'aria-hidden': 'true' }) : null, sentences, acts];
    const element = folded ? make('details', { class: 'group' }, make('summary', {}, heading), ...held.filter(Boolean)) : make('section', { class: 'group', 'aria-labelledby': `group-${id}` }, heading, ...held.filter(Boolean));
    element.dataset.group = id;
    rig.append(element);
    return [id, { element, sentences, acts, adds }];
  }));

  const dressed = makeDressed({ word: (n) => now.words[n], called: (id) => now.sentences.find((one) => one.id === id)?.name ?? id, open: () => panel.key() });
  const articleOf = (sentence) => {
    const box = groupOf(sentence.kind) === 'boxes', fixed = sentence.kind === 'fix';
    const article = make('article', { class: 'sentence', 'data-id': sentence.id, 'data-kind': sentence.kind, 'aria-label': sentence.name || 'the piece' });
    const held = live.markup(sentence.markup);
    article.append(dressed(held, sentence.id));
    article.append(make('ul', { class: 'faults' }, ...sentence.faults.map((one) => make('li', {}, one))));
    for (const words of [sentence.brought ? 'Its kind of box brings this; a change writes it into the patch.' : null, adding.said(sentence.id)].filter(Boolean)) article.append(make('span', { class: 'small' }, words));
    if (box) article.append(make('div', { class: 'lanes own', role: 'img', 'data-lane': sentence.name }));
    if (fixed) {
      const chosen = fix() === sentence.name;
      article.append(make('div', { class: 'hear' }, make('button', { type: 'button', 'data-hear': sentence.name, 'data-chosen': chosen ? '' : null, 'aria-label': chosen ? null : `Switch to it: ${sentence.name}` }, chosen ? 'Back to the original' : 'Switch to it')));
    }
    return article;
  };
  const key = (element) => element.dataset.spot ?? element.dataset.key ?? element.dataset.id ?? element.dataset.lane ?? element.dataset.hear ?? '';

  const render = () => {
    const focus = rig.contains(document.activeElement) ? document.activeElement.dataset.spot ?? document.activeElement.dataset.add ?? null : null;
    const version = page.data.variants[page.state.version].name;
    for (const [id, group] of groups) {
      const own = now.sentences.filter(({ kind }) => groupOf(kind) === id);
      const next = make('div', {}, ...own.map(articleOf));
      // Drawn lanes are no part of what is said: they stay.
      morph(group.sentences, next, key, (element) => element.hasAttribute('data-lane'));
      const adds = group.adds.filter((kind) => now.can.add.some((one) => one.kind === kind));
      morph(group.acts, make('div', {}, ...adds.map((kind) => {
        const { says, needs } = now.can.add.find((one) => one.kind === kind);
        return make('button', { type: 'button', 'data-add': kind, 'data-key': `add ${kind}`, disabled: Boolean(needs), title: needs ? `First add ${needs}.` : '' }, `Add ${says}`);
      })), key);
      group.element.hidden = own.length === 0 && adds.length === 0;
    }
    const players = page.data.variants[page.state.version].players.map(([name]) => name);
    const places = new Map([...rig.querySelectorAll('.lanes.own')].map((lane) => [lane.dataset.lane, lane]));
    places.forEach((lane, name) => {
      const n = players.indexOf(name);
      lane.hidden = n < 0;
      lane.parentElement.dataset.of = n < 0 ? '' : String(n % 6);
    });
    page.lanes.spread(places, $('ruler'));
    const name = fix();
    // Several fixes at once are no fix that could be changed, and say so by their names.
    $('desk-at').hidden = name === null && (version === 'original' || version.includes('+'));
    $('desk-at').replaceChildren(...(name === null ? [`${version === 'as saved' ? 'What is heard is as it was saved' : 'What is heard has a component put in'}; what you change is the version `, make('b', {}, called.of('original')), '.'] : ['What you change goes into the fix ', make('b', {}, name), '. Words that it changes are marked ', make('span', { class: 'sign', 'aria-hidden': 'true' }, '◆'), '.']));
    const to = wanted !== null ? wordAt(wanted) : null;
    if (to) { wanted = null; to.focus(); } else if (focus !== null && !rig.contains(document.activeElement) && document.activeElement === document.body) (spotAt(focus) ?? wordAt(focus.split(' ')[1]) ?? rig.querySelector(`[data-add="${focus}"]`))?.focus();
    light(focused());
  };

  // What hangs on the word at hand.
  const light = (element) => {
    const word = element && now ? now.words[Number(element.dataset.word)] : null;
    const lit = new Set(word ? word.lights : []);
    rig.querySelectorAll('.sentence').forEach((article) => article.classList.toggle('lit', lit.has(article.dataset.id)));
    rig.querySelectorAll('.word').forEach((one) => one.classList.toggle('lights', one === element && lit.size > 0));
  };
  const under = (event) => (event.target.closest ? event.target.closest('.word') : null);
  const focused = () => (document.activeElement?.classList.contains('word') ? document.activeElement : panel.key() ? spotAt(panel.key()) : null);
  rig.addEventListener('pointerover', (event) => light(under(event) ?? focused()));
  rig.addEventListener('pointerleave', () => light(focused()));
  rig.addEventListener('focusin', (event) => light(under(event)));
  rig.addEventListener('focusout', () => light(null));
  rig.addEventListener('keydown', pressed);
  rig.addEventListener('click', (event) => {
    const word = under(event), add = event.target.closest('[data-add]'), hear = event.target.closest('[data-hear]');
    if (word) { if (panel.key() === word.dataset.spot) panel.close(true); else open(word.dataset.key, word.closest('.sentence').dataset.id, word.dataset.spot); }
    if (add) adding.open(add.dataset.add, add);
    if (hear) {
      const n = page.data.variants.findIndex((variant) => variant.name === hear.dataset.hear);
      page.player.version(fix() === hear.dataset.hear ? 0 : n);
    }
  });

  let shownAt = null;
  const show = (next) => {
    if (another(next)) return;
    const first = now === null;
    base = next.revision;
    now = { sentences: [], words: [], faults: [], ...next, can: { add: [], boxes: [], components: [], voices: [], ...next.can } };
    rig.hidden = false;
    if (first) {
      shownAt = JSON.stringify(live.at());
      document.querySelector('.desk-bar').hidden = false;
      // What the lanes come to is looked at beside them.
      groups.get('boxes').element.append($('lanes-says'), page.root.querySelector('.zoom'), $('keys-open').parentElement);
    }
    $('desk-undo').disabled = now.undo === 0;
    $('desk-redo').disabled = now.redo === 0;
    $('desk-save').disabled = now.saved && !now.file;
    $('desk-keep').disabled = !keeping.able();
    const said = now.saved ? 'saved' : 'not saved';
    if ($('desk-state').textContent !== said) $('desk-state').textContent = said;
    render();
    panel.refresh();
    problem([now.kept, ...(now.warnings ?? [])].filter(Boolean).join(' '));
    whenShown.forEach((listener) => listener(now));
    if (!first && (now.fault || spoken)) { spoken = Boolean(now.fault); verdict(); }
  };
  /** Whether a fault was said that is gone, or not, since. */
  let spoken = false;
  live.onDesk(show);
  live.onTaken(() => { if (now) render(); });

  // Words are for the version and the tempo at hand.
  let timer = null;
  page.changed.push(() => {
    if (!now) return;
    const at = JSON.stringify(live.at());
    if (at === shownAt) return;
    shownAt = at;
    clearTimeout(timer);
    timer = setTimeout(() => live.look().catch(live.lost), 80);
    render();
  });

  // The verdict, said when it has come to rest.
  let said = null, quiet = null;
  const verdict = () => {
    clearTimeout(quiet);
    quiet = setTimeout(() => {
      const { version, tempo } = live.at(), cell = page.cell();
      const words = now?.fault ? `The patch has a fault: ${now.fault.split('\n')[0].replace(/^error: /, '')}.` : `${called.of(version)} at ${tempo}: ${[cell.state, ...cell.lines].join(', ')}.`;
      if (words === said) return;
      said = words;
      $('desk-verdict').textContent = words;
    }, 900);
  };
  live.onTaken(verdict);

  // What is done to all of it.
  const undo = () => now?.undo && outbox.other('/undo'), redo = () => now?.redo && outbox.other('/redo');
  const save = () => {
    if (!now) return;
    // Both are shown: who saves chooses.
    if (now.file) { $('conflict-title').focus(); return; }
    if (!now.saved || outbox.waits()) outbox.other('/save', { hash: now.hash });
  };
  $('desk-undo').addEventListener('click', undo);
  $('desk-redo').addEventListener('click', redo);
  $('desk-save').addEventListener('click', save);
  $('desk-keep').addEventListener('click', () => keeping.open($('desk-keep')));
  document.addEventListener('keydown', (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
    const letter = event.key.toLowerCase();
    if (letter === 's') { event.preventDefault(); save(); }
    if (keys.typing(event.target)) return;
    if (letter === 'z') { event.preventDefault(); if (event.shiftKey) redo(); else undo(); }
    if (letter === 'y') { event.preventDefault(); redo(); }
  });
  window.addEventListener('beforeunload', (event) => { if (outbox.waits()) event.preventDefault(); });
  document.querySelector('#keys dl').append(...[
    ['M', 'tap the tempo'], ['Ctrl Z, Ctrl Shift Z', 'undo and redo'], ['Ctrl S', 'save'], ['Enter', 'on a word: open it; Escape closes it'],
  ].flatMap(([what, does]) => [make('dt', {}, what), make('dd', {}, does)]));

  return { now: () => now, open, edit, outbox, fix, keeping, timing, wordAt, save, onShown: (listener) => whenShown.push(listener), onRefused: (listener) => whenRefused.push(listener), onText: (listener) => whenText.push(listener) };
})();
globalThis.hitgap.desk = desk;

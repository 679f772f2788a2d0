// The rig as sentences: words that open to what can stand there, lanes below their boxes, and what is done to all of it.
import { makeEditor, makeShown } from './editors.mjs';
import { keys } from './keys.mjs';
import { live } from './live.mjs';
import { button, make } from './make.mjs';
import { morph } from './morph.mjs';
import { makeOutbox } from './outbox.mjs';
import { makePanel } from './panel.mjs';
import { calledOf, clearOf, editOf, fixOf, freeName, GROUPS, groupOf, keyOf, wordOf } from './words.mjs';

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
  const timing = { sent: 0, answered: 0, sounds: 0 };
  const send = async ({ path, body, method = 'POST' }) => {
    const answer = await fetch(path, { method, headers: { 'Content-Type': 'application/json' }, body: JSON.stringify({ ...body, ...live.at() }) });
    const text = await answer.text();
    timing.answered = performance.now();
    try { return { status: answer.status, path, ...JSON.parse(text) }; } catch { return { status: answer.status, path, says: text }; }
  };
  const outbox = makeOutbox({
    send,
    base: () => now.revision,
    taken: (answer) => {
      panel.problem('');
      live.heardOf(answer.desk);
      if (!answer.near) return;
      live.near(answer.near, answer.desk.revision).then((sounds) => {
        if (!sounds) return;
        timing.sounds = performance.now();
        verdict();
      }).catch(live.lost);
    },
    refused: (answer, request) => {
      if (answer.desk) live.heardOf(answer.desk);
      whenRefused.forEach((listener) => listener(answer, request));
      if (answer.status === 409 && request.path !== '/edit') return;
      const words = answer.says ?? `The program answers ${answer.status}.`;
      if (panel.open()) panel.problem(words); else problem(words);
    },
    lost: () => live.lost(),
  });
  const edit = (one, gesture) => { timing.sent = performance.now(); outbox.edit(one, gesture); };
  live.onBack(() => { if (now) outbox.again(); });

  // The panel in which a word opens.
  const wordAt = (key) => [...rig.querySelectorAll('.word')].find((element) => element.dataset.key === key) ?? null;
  const panel = makePanel($('editor'), {
    closed: (key) => mark(key, false),
    opened: (key) => mark(key, true),
  });
  const mark = (key, open) => {
    const element = key && wordAt(key);
    if (element) element.setAttribute('aria-expanded', String(open));
  };
  let opened = 0;
  /** What has the focus when the answer is there. */
  let wanted = null;

  /** Opens a word, or a key behind its `more`. */
  const open = (key) => {
    const word = wordOf(now, key);
    const anchor = word && wordAt(word.behind ?? key);
    if (!anchor) return;
    if (word.takes.is === 'more') { openMore(word, anchor); return; }
    opened += 1;
    const gesture = `${key} ${opened}`;
    const tables = word.takes.is !== 'name' && word.value !== null && typeof word.value === 'object' && !Array.isArray(word.value);
    const editor = tables ? makeShown(word.value, () => { panel.close(false); whenText.forEach((listener) => listener(word.at)); }) : makeEditor(word.takes, (value) => {
      const own = wordOf(now, key) ?? word;
      edit(editOf(own, value, fix()), gesture);
      if (word.takes.is !== 'name') return;
      wanted = [...word.at.slice(0, -1), value].join('.');
      panel.close(false);
    });
    editor.show(word.takes.is === 'name' ? word.at[word.at.length - 1] : word.value ?? word.default ?? null, word.takes);
    const foot = make('div', { class: 'row tight foot' });
    const also = make('p', { class: 'also' });
    const wrong = make('p', { class: 'problem' });
    const refresh = () => {
      const own = wordOf(now, key);
      const anchored = own && wordAt(own.behind ?? key);
      if (!anchored) { panel.close(true); return; }
      panel.move(own.behind ?? key, anchored);
      // What is on its way is newer than what is known.
      if (!outbox.waits() && own.takes.is !== 'name') editor.show(own.value ?? own.default ?? null, own.takes);
      also.textContent = own.also ?? '';
      wrong.textContent = own.fault ?? '';
      const out = clearOf(own, fix());
      foot.replaceChildren(...[
        out && button(out.fix ? 'As in the original' : 'Leave it out', () => { edit(out, null); }, { 'data-act': 'clear' }),
        own.behind && button('Back', () => open(own.behind), { 'data-act': 'back' }),
      ].filter(Boolean));
    };
    panel.show({ key: word.behind ?? key, anchor, title: calledOf(word), about: word.about, held: [editor.element, also, wrong, foot], focus: editor.focus, refresh });
  };

  /** The keys that are not set, and what can be done with the whole table. */
  const openMore = (word, anchor) => {
    const { at } = word;
    const name = at[at.length - 1];
    const taken = now.sentences.filter(({ id }) => id.startsWith(`${at[0]}.`)).map((one) => one.name);
    const own = word.takes.keys.map((one) => make('li', {},
      make('button', { type: 'button', class: 'key', onclick: () => open(one.at.join('.')) }, make('b', {}, one.says), make('span', { class: 'about' }, one.about))));
    const whole = at.length > 1 ? make('div', { class: 'row tight foot' },
      button('Rename', () => open(at.join('.'))),
      button('Duplicate', () => {
        const as = freeName(name, taken);
        wanted = [at[0], as].join('.');
        panel.close(false);
        edit({ do: 'duplicate', at, as }, null);
      }),
      button('Remove', () => {
        const others = now.sentences.filter((one) => groupOf(one.kind) === groupOf(at[0]) && one.id !== at.join('.'));
        const next = others[0] && now.words.find((one) => one.of === others[0].id);
        wanted = next ? keyOf(next) : null;
        panel.close(false);
        edit({ do: 'remove', at }, null);
      })) : null;
    panel.show({
      key: keyOf(word), anchor, title: calledOf(word), about: own.length ? 'What is not said has its default. Each of these can be said.' : 'All that can be said of it is said.',
      held: [own.length ? make('ul', { class: 'keys' }, ...own) : null, whole], focus: () => $('editor').querySelector('.key, .foot button').focus(),
      refresh: () => { if (!wordOf(now, keyOf(word))) panel.close(true); },
    });
  };

  /** What can be added of a kind: the kit's own, or a plain one. */
  const openAdd = (kind, anchor) => {
    const plain = now.can.add.find((one) => one.kind === kind);
    const taken = now.sentences.map((one) => one.name);
    const add = (name, to) => {
      const own = freeName(name, taken);
      wanted = `${kind}.${own}`;
      panel.close(false);
      edit({ do: 'add', at: [kind, own], to }, null);
    };
    const offers = [
      ...(plain ? [{ says: `plain ${plain.says.replace(/^an? /, '')}`, about: plain.about ?? '', act: () => add(plain.name, plain.to) }] : []),
      ...(kind === 'sequencer' ? now.can.boxes.map((one) => ({ says: one.says ?? one.name, about: one.about, act: () => add(one.name, one.to ?? { like: one.name }) })) : []),
      ...(kind === 'stage' ? now.can.components.map((one) => ({ says: one.name, about: one.about, act: () => add(one.name, one.to) })) : []),
      ...(kind === 'voice' ? now.can.voices.filter((one) => one.to).map((one) => ({ says: one.name, about: one.about ?? '', act: () => add(one.name, one.to) })) : []),
    ];
    if (offers.length === 1) { offers[0].act(); return; }
    panel.show({
      key: null, anchor, title: `Add ${plain?.says ?? `a ${kind}`}`, about: '',
      held: [make('ul', { class: 'keys' }, ...offers.map(({ says, about, act }) => make('li', {}, make('button', { type: 'button', class: 'key', onclick: act }, make('b', {}, says), make('span', { class: 'about' }, about)))))],
      focus: () => $('editor').querySelector('.key')?.focus(), refresh: () => {},
    });
  };

  /** What has changed since the file was read, as a fix of its own. */
  let savedText = null;
  const openKeep = () => {
    const taken = now.sentences.filter(({ kind }) => kind === 'fix').map((one) => one.name);
    const name = make('input', { type: 'text', maxLength: 64, value: freeName('fix', [...taken, 'original', 'matched']), autocomplete: 'off', spellcheck: false });
    const about = make('input', { type: 'text', maxLength: 200, autocomplete: 'off' });
    const keep = () => {
      if (!name.value.trim()) { name.focus(); return; }
      wanted = `fix.${name.value.trim()}`;
      panel.close(false);
      edit({ do: 'keep', fix: name.value.trim(), about: about.value.trim(), ...(savedText === null ? {} : { of: savedText }) }, null);
    };
    for (const field of [name, about]) field.addEventListener('keydown', (event) => { if (event.key === 'Enter') { event.preventDefault(); keep(); } });
    panel.show({
      key: null, anchor: $('desk-keep'), title: 'Keep as a fix', about: 'What is changed since the last save becomes a fix; the rest is again as it was saved.',
      held: [make('label', { class: 'field' }, 'Name ', name), make('label', { class: 'field' }, 'What it does ', about), make('div', { class: 'row tight' }, button('Keep', keep, { class: 'main' }))],
      focus: () => { name.focus(); name.select(); }, refresh: () => {},
    });
  };

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

  /** What is told of a word to who does not see how it is marked. */
  const described = (word) => [
    word.about, word.also, word.changed ? 'changed by the fix' : null, word.fault ? `wrong: ${word.fault}` : null,
    word.lights.length ? `hangs together with ${word.lights.map((id) => now.sentences.find((one) => one.id === id)?.name ?? id).join(', ')}` : null,
  ].filter(Boolean).map((one) => String(one).replace(/\.$/, '')).join('. ');
  const dressed = (fragment) => {
    for (const element of fragment.querySelectorAll('.word')) {
      const word = now.words[Number(element.dataset.word)];
      if (!word) continue;
      element.dataset.key = keyOf(word);
      element.dataset.is = word.takes.is;
      if (word.changed) element.dataset.changed = '';
      if (word.fault) element.dataset.fault = '';
      element.setAttribute('aria-description', described(word));
      element.setAttribute('aria-haspopup', 'dialog');
      element.setAttribute('aria-expanded', String(panel.key() === element.dataset.key));
      if (word.takes.is === 'more') element.setAttribute('aria-label', calledOf(word));
    }
    return fragment;
  };
  const articleOf = (sentence) => {
    const box = groupOf(sentence.kind) === 'boxes', fixed = sentence.kind === 'fix';
    const article = make('article', { class: 'sentence', 'data-id': sentence.id, 'data-kind': sentence.kind, 'aria-label': sentence.name || 'the piece' });
    const held = live.markup(sentence.markup);
    article.append(dressed(held));
    article.append(make('ul', { class: 'faults' }, ...sentence.faults.map((one) => make('li', {}, one))));
    if (box) article.append(make('div', { class: 'lanes own', role: 'img', 'data-lane': sentence.name }));
    if (fixed) {
      const chosen = fix() === sentence.name;
      article.append(make('div', { class: 'hear' }, make('button', { type: 'button', 'data-hear': sentence.name, 'aria-pressed': String(chosen) }, chosen ? 'At hand' : 'Take it in hand')));
    }
    return article;
  };
  const key = (element) => element.dataset.key ?? element.dataset.id ?? element.dataset.lane ?? element.dataset.hear ?? '';

  const render = () => {
    const focus = rig.contains(document.activeElement) ? document.activeElement.dataset.key ?? document.activeElement.dataset.add : null;
    const version = page.data.variants[page.state.version].name;
    for (const [id, group] of groups) {
      const own = now.sentences.filter(({ kind }) => groupOf(kind) === id);
      const next = make('div', {}, ...own.map(articleOf));
      // Drawn lanes are no part of what is said: they stay.
      morph(group.sentences, next, key, (element) => element.hasAttribute('data-lane'));
      const adds = group.adds.filter((kind) => now.can.add.some((one) => one.kind === kind));
      morph(group.acts, make('div', {}, ...adds.map((kind) => make('button', { type: 'button', 'data-add': kind, 'data-key': `add ${kind}` }, `Add ${now.can.add.find((one) => one.kind === kind).says}`))), key);
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
    $('desk-at').hidden = name === null && version !== 'as saved';
    $('desk-at').replaceChildren(...(name === null ? ['What is heard is as it was saved; what you change is the version ', make('b', {}, 'original'), '.'] : ['What you change goes into the fix ', make('b', {}, name), '. Words that it changes are marked ', make('span', { class: 'sign', 'aria-hidden': 'true' }, '◆'), '.']));
    light(null);
    const to = wanted !== null ? wordAt(wanted) : null;
    if (to) { wanted = null; to.focus(); } else if (focus !== null && !rig.contains(document.activeElement) && document.activeElement === document.body) (wordAt(focus) ?? rig.querySelector(`[data-add="${focus}"]`))?.focus();
  };

  // What hangs on the word at hand.
  const light = (element) => {
    const word = element && now ? now.words[Number(element.dataset.word)] : null;
    const lit = new Set(word ? word.lights : []);
    rig.querySelectorAll('.sentence').forEach((article) => article.classList.toggle('lit', lit.has(article.dataset.id)));
    rig.querySelectorAll('.word').forEach((one) => one.classList.toggle('lights', one === element && lit.size > 0));
  };
  const under = (event) => (event.target.closest ? event.target.closest('.word') : null);
  const focused = () => (document.activeElement?.classList.contains('word') ? document.activeElement : panel.key() ? wordAt(panel.key()) : null);
  rig.addEventListener('pointerover', (event) => light(under(event) ?? focused()));
  rig.addEventListener('pointerleave', () => light(focused()));
  rig.addEventListener('focusin', (event) => light(under(event)));
  rig.addEventListener('focusout', () => light(null));
  rig.addEventListener('click', (event) => {
    const word = under(event), add = event.target.closest('[data-add]'), hear = event.target.closest('[data-hear]');
    if (word) { if (panel.key() === word.dataset.key) panel.close(true); else open(word.dataset.key); }
    if (add) openAdd(add.dataset.add, add);
    if (hear) {
      const n = page.data.variants.findIndex((variant) => variant.name === hear.dataset.hear);
      page.player.version(fix() === hear.dataset.hear ? 0 : n);
    }
  });

  const show = (next) => {
    const first = now === null;
    now = { sentences: [], words: [], faults: [], ...next, can: { add: [], boxes: [], components: [], voices: [], ...next.can } };
    if (now.saved) savedText = now.text;
    rig.hidden = false;
    if (first) document.querySelector('.desk-bar').hidden = false;
    $('desk-undo').disabled = now.undo === 0;
    $('desk-redo').disabled = now.redo === 0;
    $('desk-save').disabled = now.saved && !now.file;
    $('desk-keep').disabled = now.saved;
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
  let shownAt = null, timer = null;
  page.changed.push(() => {
    if (!now) return;
    const at = JSON.stringify(live.at());
    if (shownAt === null) shownAt = at;
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
      const words = now.fault ? `The patch has a fault: ${now.fault.split('\n')[0].replace(/^error: /, '')}.` : `${version} at ${tempo}: ${[cell.state, ...cell.lines].join(', ')}.`;
      if (words === said) return;
      said = words;
      $('desk-verdict').textContent = words;
    }, 900);
  };
  live.onTaken(verdict);

  // What is done to all of it.
  const undo = () => { if (now?.undo) outbox.other('/undo'); };
  const redo = () => { if (now?.redo) outbox.other('/redo'); };
  const save = () => {
    if (!now) return;
    // Both are shown: who saves chooses.
    if (now.file) { $('conflict-title').focus(); return; }
    if (!now.saved || outbox.waits()) outbox.other('/save', { hash: now.hash });
  };
  $('desk-undo').addEventListener('click', undo);
  $('desk-redo').addEventListener('click', redo);
  $('desk-save').addEventListener('click', save);
  $('desk-keep').addEventListener('click', openKeep);
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

  return { now: () => now, open, edit, outbox, fix, timing, wordAt, save, onShown: (listener) => whenShown.push(listener), onRefused: (listener) => whenRefused.push(listener), onText: (listener) => whenText.push(listener) };
})();
globalThis.hitgap.desk = desk;

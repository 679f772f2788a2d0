import assert from 'node:assert/strict';
import { test } from 'node:test';
import { morph } from '../../src/show/page/parts/morph.mjs';

/** As much of a document as is needed. */
const node = (given) => {
  const held = [];
  const at = () => (given.parent ? given.parent.childNodes.indexOf(self) : -1);
  const self = {
    ...given, childNodes: held, parent: null,
    get firstChild() { return held[0] ?? null; },
    get nextSibling() { const n = given.parent ? given.parent.childNodes : []; return n[at() + 1] ?? null; },
    removeChild: (child) => { held.splice(held.indexOf(child), 1); child.setParent(null); },
    insertBefore: (child, before) => {
      child.leave();
      held.splice(before ? held.indexOf(before) : held.length, 0, child);
      child.setParent(self);
    },
    setParent: (parent) => { given.parent = parent; },
    leave: () => { if (given.parent) given.parent.removeChild(self); },
  };
  return self;
};
const text = (nodeValue) => node({ nodeType: 3, nodeName: '#text', nodeValue });
const element = (nodeName, attributes, ...children) => {
  const all = new Map(Object.entries(attributes));
  const self = Object.assign(node({ nodeType: 1, nodeName }), {
    hasAttribute: (name) => all.has(name), getAttribute: (name) => all.get(name) ?? null,
    setAttribute: (name, value) => all.set(name, value), removeAttribute: (name) => all.delete(name),
  });
  Object.defineProperty(self, 'attributes', { get: () => [...all].map(([name, value]) => ({ name, value })) });
  for (const child of children) self.insertBefore(typeof child === 'string' ? text(child) : child, null);
  return self;
};
const shown = (one) => (one.nodeType === 3 ? one.nodeValue : `<${one.nodeName}${one.attributes.map(({ name, value }) => ` ${name}=${value}`).join('')}>${one.childNodes.map(shown).join('')}</>`);
const key = (one) => one.getAttribute('key') ?? '';
const word = (name, says, more = {}) => element('b', { key: name, ...more }, says);

test('a word that stays is the same element, whatever it says now', () => {
  const old = element('p', {}, 'wren waits ', word('mode', 'here', { changed: '' }), ' on ', word('clock', 'slow'), '.');
  const next = element('p', {}, 'wren is ', word('late', '1 %'), ' late, waits ', word('mode', 'there'), ' on ', word('clock', 'home', { fault: '' }), '.');
  const [mode, clock] = old.childNodes.filter((one) => one.nodeType === 1);
  const wanted = shown(next);
  morph(old, next, key);
  assert.equal(shown(old), wanted);
  assert.ok(old.childNodes.includes(mode) && old.childNodes.includes(clock));
  // Both ways: what came goes.
  const back = element('p', {}, word('clock', 'slow'));
  morph(old, back, key);
  assert.equal(shown(old), '<p><b key=clock>slow</></>');
  assert.ok(old.childNodes[0] === clock);
});

test('any list becomes any other', () => {
  const names = ['a', 'b', 'c', 'd', 'e'];
  let seed = 7;
  const random = (below) => { seed = (seed * 1103515245 + 12345) % 2147483648; return Math.floor((seed / 2147483648) * below); };
  for (let n = 0; n < 300; n += 1) {
    const list = () => element('p', {}, ...Array.from({ length: random(6) }, () => word(names[random(5)], String(random(9)))));
    const old = list(), next = list();
    const wanted = shown(next);
    morph(old, next, key);
    assert.equal(shown(old), wanted);
  }
});

test('what is whole keeps what stands in it', () => {
  const old = element('p', {}, element('i', { key: 'lane' }, 'drawn')), next = element('p', {}, element('i', { key: 'lane', hidden: '' }));
  morph(old, next, key, (one) => one.nodeName === 'i');
  assert.equal(shown(old), '<p><i key=lane hidden=>drawn</></>');
});

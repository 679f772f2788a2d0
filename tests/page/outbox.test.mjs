import assert from 'node:assert/strict';
import { test } from 'node:test';
import { makeOutbox, queued } from '../../src/show/page/parts/outbox.mjs';

const set = (key, to, more = {}) => ({ do: 'set', at: [key], to, ...more });

/** A server that answers when it is told to. */
const server = () => {
  let revision = 1, fails = false;
  const asked = [], answers = [], taken = [], refused = [], lost = [];
  const outbox = makeOutbox({
    base: () => revision,
    send: (request) => {
      asked.push(request);
      if (fails) return Promise.reject(new Error('gone'));
      return new Promise((resolve) => { answers.push(resolve); });
    },
    taken: (answer, request) => { if (answer.revision) revision = answer.revision; taken.push([answer, request]); },
    refused: (answer) => refused.push(answer),
    lost: () => lost.push(true),
  });
  const settle = () => new Promise((resolve) => { setTimeout(resolve, 0); });
  const answer = async (status, more = {}) => { answers.shift()({ status, ...more }); await settle(); };
  return { outbox, asked, answer, taken, refused, lost, settle, fail: (how) => { fails = how; } };
};

test('one request is under way, and of what waits the last value counts', async () => {
  const { outbox, asked, answer, taken } = server();
  for (let n = 0; n <= 20; n += 1) outbox.edit([set('delay', `${n} ms`)]);
  assert.deepEqual(asked.map(({ body }) => body.edits), [[set('delay', '0 ms')]]);
  await answer(200, { revision: 2 });
  assert.equal(asked.length, 2);
  assert.deepEqual(asked[1].body, { edits: [set('delay', '20 ms')], gesture: null, base: 2 });
  assert.equal(outbox.waits(), 1);
  await answer(200, { revision: 3 });
  assert.deepEqual([asked.length, taken.length, outbox.waits()], [2, 2, 0]);
});

test('what is set elsewhere in between keeps its order', () => {
  const all = [set('a', 1), set('b', 1), set('b', 2), set('a', 2)].reduce(queued, []);
  assert.deepEqual(all, [set('a', 1), set('b', 2), set('a', 2)]);
  // In a fix it is another value; a table that is taken away is no value.
  assert.equal([set('a', 1), set('a', 1, { fix: 'gate' })].reduce(queued, []).length, 2);
  assert.equal([{ do: 'remove', at: ['a'] }, { do: 'remove', at: ['a'] }].reduce(queued, []).length, 2);
});

test('edits that go together go in one request', async () => {
  const { outbox, asked } = server();
  const both = [{ do: 'clear', at: ['euclidean'] }, set('steps', 'x')];
  outbox.edit(both);
  assert.deepEqual([asked.length, asked[0].body.edits], [1, both]);
});

test('an undo waits for the edit before it, and what comes after waits for the undo', async () => {
  const { outbox, asked, answer } = server();
  outbox.edit([set('a', 1)]);
  outbox.edit([set('a', 2)]);
  outbox.other('/undo');
  outbox.edit([set('a', 3)]);
  await answer(200);
  await answer(200);
  await answer(200);
  assert.deepEqual(asked.map(({ path, body }) => [path, body.edits?.[0].to]), [['/edit', 1], ['/edit', 2], ['/undo', undefined], ['/edit', 3]]);
});

test('a change is tried again upon a text that has become another; a text is not', async () => {
  const { outbox, asked, answer, refused } = server();
  outbox.edit([set('a', 1)]);
  await answer(409, { revision: 5 });
  assert.deepEqual(asked[1].body, { edits: [set('a', 1)], gesture: null, base: 5 });
  await answer(200, { revision: 6 });
  outbox.other('/text', { text: 'mine' }, 'PUT');
  await answer(409, { revision: 7 });
  assert.deepEqual([asked.length, refused.length], [3, 1]);
  // For ever it is not tried.
  outbox.edit([set('a', 2)]);
  for (let n = 0; n < 3; n += 1) await answer(409, { revision: 8 + n });
  assert.deepEqual([refused.length, outbox.waits()], [2, 0]);
});

test('what cannot be done is told, and the next goes on', async () => {
  const { outbox, asked, answer, refused } = server();
  outbox.edit([set('a', 'x')]);
  outbox.edit([{ do: 'remove', at: ['clock', 'home'] }]);
  await answer(422, { says: 'it is not `x`' });
  assert.equal(refused[0].says, 'it is not `x`');
  assert.equal(asked.length, 2);
});

test('a server that is gone loses nothing', async () => {
  const { outbox, asked, answer, lost, settle, fail } = server();
  fail(true);
  outbox.edit([set('a', 1)]);
  await settle();
  outbox.edit([set('b', 1)]);
  assert.deepEqual([lost.length, outbox.waits(), asked.length], [1, 2, 1]);
  fail(false);
  outbox.again();
  assert.deepEqual(asked[1].body.edits, [set('a', 1), set('b', 1)]);
  await answer(200);
  assert.equal(outbox.waits(), 0);
});

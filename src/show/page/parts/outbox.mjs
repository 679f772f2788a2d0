// What is sent of many changes: one request under way, and of what waits behind it the last value of each key.
/** What waits, with one edit more: a value that is set again takes the place of the one that waits, if nothing else has come since that could
 * look at it. */
export const queued = (waiting, edit) => {
  const last = waiting[waiting.length - 1];
  const same = last && last.do === 'set' && edit.do === 'set' && last.fix === edit.fix && JSON.stringify(last.at) === JSON.stringify(edit.at);
  return same ? [...waiting.slice(0, -1), edit] : [...waiting, edit];
};

/** Sends edits. `send(request)` answers `{ status, ... }` or fails where there is no server; `taken(answer, request)` hears of what was done,
 * `refused(answer, request)` of what cannot be, `lost()` of a server that is gone: what waits then waits on until `again`. */
export const makeOutbox = ({ send, base, taken, refused, lost }) => {
  /** So often a change is tried anew upon a text that has become another. */
  const TRIES = 3;
  let waiting = [], under = null, gone = false, idle = [];

  const rest = () => {
    const done = idle;
    idle = [];
    done.forEach((resolve) => resolve());
  };
  const next = async () => {
    if (under || gone) return;
    if (!waiting.length) { rest(); return; }
    // Edits go together; what is no edit goes alone, in its turn.
    const alone = waiting.findIndex(({ path }) => path !== '/edit');
    const count = alone === 0 ? 1 : alone < 0 ? waiting.length : alone;
    under = waiting.slice(0, count);
    waiting = waiting.slice(count);
    const request = under[0].path === '/edit'
      ? { path: '/edit', body: { edits: under.map(({ edit }) => edit), gesture: under[under.length - 1].gesture } }
      : under[0];
    try {
      let answer = null;
      for (let n = 0; n < TRIES; n += 1) {
        answer = await send({ ...request, body: { ...request.body, base: base() } });
        if (answer.status !== 409 || request.path !== '/edit') break;
        taken(answer, null);
      }
      under = null;
      if (answer.status === 200) taken(answer, request); else refused(answer, request);
    } catch {
      // Sent or not: who is back says by its revision, and setting a value twice is setting it once.
      waiting = [...under, ...waiting];
      under = null;
      gone = true;
      lost();
      rest();
      return;
    }
    next();
  };
  return {
    /** Edits that go together. */
    edit: (edits, gesture = null) => {
      for (const edit of edits) {
        const last = waiting[waiting.length - 1];
        if (last?.edit && queued([last.edit], edit).length === 1) waiting.pop();
        waiting.push({ path: '/edit', edit, gesture });
      }
      next();
    },
    /** Another request in its turn; of two texts that wait the last counts. */
    other: (path, body = {}, method = 'POST') => {
      const last = waiting[waiting.length - 1];
      if (path === '/text' && last && last.path === '/text') waiting.pop();
      waiting.push({ path, body, method });
      next();
    },
    again: () => { gone = false; next(); },
    waits: () => waiting.length + (under ? 1 : 0),
    /** When all has been answered, or the server is gone. */
    quiet: () => (under || (waiting.length && !gone) ? new Promise((resolve) => { idle.push(resolve); }) : Promise.resolve()),
  };
};

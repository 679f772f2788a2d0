// What the pane with the patch's text works out.
/** From where to where a line goes in a text, without its end; the last one where there are fewer. */
export const placeOf = (text, line) => {
  let from = 0;
  for (let n = 1; n < line; n += 1) {
    const end = text.indexOf('\n', from);
    if (end < 0) break;
    from = end + 1;
  }
  const end = text.indexOf('\n', from);
  return [from, end < 0 ? text.length : end];
};

/** The line in which a place of a text stands, from 1 on. */
export const lineAt = (text, place) => text.slice(0, place).split('\n').length;

/** Where a caret goes when a text becomes another: it stays in its line and column, seen from the end that has not changed. */
export const caretIn = (before, after, place) => {
  let same = 0;
  const most = Math.min(before.length, after.length);
  while (same < most && before[same] === after[same]) same += 1;
  if (place <= same) return place;
  let tail = 0;
  while (tail < most - same && before[before.length - 1 - tail] === after[after.length - 1 - tail]) tail += 1;
  return place >= before.length - tail ? place + after.length - before.length : Math.min(same, after.length);
};

/** The heading of a table as it stands in the text: its line, or null. `at` is a path of keys; a key that stands below the heading is
 * found there. */
export const lineOf = (text, at) => {
  const lines = text.split('\n');
  const quoted = (key) => new RegExp(`^\\s*"?${String(key).replace(/[.*+?^${}()|[\]\\]/g, '\\$&')}"?\\s*[=.]`);
  for (let depth = Math.min(2, at.length); depth > 0; depth -= 1) {
    const head = lines.findIndex((line) => line.replace(/\s|"/g, '').startsWith(`[${at.slice(0, depth).join('.')}]`));
    if (head < 0) continue;
    if (at.length === depth) return head + 1;
    for (let n = head + 1; n < lines.length && !/^\s*\[/.test(lines[n]); n += 1) if (quoted(at[depth]).test(lines[n])) return n + 1;
    return head + 1;
  }
  const first = lines.findIndex((line) => /^\s*\[/.test(line));
  const top = lines.slice(0, first < 0 ? undefined : first).findIndex((line) => quoted(at[0]).test(line));
  return top < 0 ? null : top + 1;
};

/** What two made of one text, where they changed different places of it: whole lines that one of them changed. Null where both changed one. */
export const merged = (base, mine, theirs) => {
  const change = (text) => {
    const a = base.split('\n'), b = text.split('\n');
    let head = 0;
    while (head < a.length && head < b.length && a[head] === b[head]) head += 1;
    let tail = 0;
    while (tail < a.length - head && tail < b.length - head && a[a.length - 1 - tail] === b[b.length - 1 - tail]) tail += 1;
    return { from: head, to: a.length - tail, lines: b.slice(head, b.length - tail) };
  };
  const both = [change(mine), change(theirs)].sort((one, other) => one.from - other.from || one.to - other.to);
  if (mine === theirs) return mine;
  const [first, last] = both;
  // Two that touch might mean one place.
  if (first.to >= last.from) return null;
  const lines = base.split('\n');
  return [...lines.slice(0, first.from), ...first.lines, ...lines.slice(first.to, last.from), ...last.lines, ...lines.slice(last.to)].join('\n');
};

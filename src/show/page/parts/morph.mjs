// A piece of a page made into another with as little as there is to change: what stays is the same element, and keeps the focus.
const ELEMENT = 1, TEXT = 3;

/** Whether `next` may become of `old`. */
const alike = (old, next, key) => old.nodeType === next.nodeType && old.nodeName === next.nodeName
  && (old.nodeType !== ELEMENT || key(old) === key(next));

const named = (node, key) => node.nodeType === ELEMENT && key(node) !== '';

/** Makes the children of `old` those of `next`; elements are told apart by `key`, and those that are `whole` keep what
 * stands in them. */
export const morph = (old, next, key, whole = () => false) => {
  let at = old.firstChild;
  for (const child of [...next.childNodes]) {
    // The nearest that may become this; what stands before it is gone. For a text nothing goes that has a name.
    let found = at;
    while (found && !alike(found, child, key)) found = named(child, key) || !named(found, key) ? found.nextSibling : null;
    if (!found) {
      old.insertBefore(child, at);
      continue;
    }
    while (at !== found) {
      const gone = at;
      at = at.nextSibling;
      old.removeChild(gone);
    }
    at = found.nextSibling;
    if (found.nodeType === TEXT) {
      if (found.nodeValue !== child.nodeValue) found.nodeValue = child.nodeValue;
      continue;
    }
    if (found.nodeType !== ELEMENT) continue;
    for (const { name } of [...found.attributes]) if (!child.hasAttribute(name)) found.removeAttribute(name);
    for (const { name, value } of [...child.attributes]) if (found.getAttribute(name) !== value) found.setAttribute(name, value);
    if (!whole(found)) morph(found, child, key, whole);
  }
  while (at) {
    const gone = at;
    at = at.nextSibling;
    old.removeChild(gone);
  }
};

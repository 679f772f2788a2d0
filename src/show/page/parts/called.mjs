// What versions are called on a page, where that is not the name that its data have.
export const called = (() => {
  const names = new Map();
  return {
    of: (name) => names.get(name) ?? name,
    /** Calls a version otherwise from now on, or as it is again with null; whether that is new. */
    call: (name, other) => {
      const before = names.get(name) ?? null;
      if (other === null) names.delete(name); else names.set(name, other);
      return before !== other;
    },
  };
})();

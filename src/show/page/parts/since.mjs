// Since when what has changed may be kept as a fix.
/** The choices of a desk, the likeliest first: `trial` (with what is tried), `saved`, `opened`, `steps` (the last so many changes). */
export const sincesOf = (desk, trial = null) => [
  ...(trial ? [{ since: 'trial', says: `since trying ${trial.says}` }] : []),
  ...(desk.keeps ?? []).map((since) => ({ since, says: { saved: 'since it was saved', opened: 'since it was opened' }[since] })),
  ...(desk.undo > 0 ? [{ since: 'steps', says: 'the last change' }] : []),
];

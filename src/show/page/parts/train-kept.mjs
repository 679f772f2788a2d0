// A session is kept in the browser until it is saved.
/** What a session says of voices that are played from files: the checksums of these, nothing for a voice that is drawn. */
export const heardFrom = (voices) => (voices.some((v) => v.sound) ? { sounds: voices.map((v) => v.sound ?? '') } : {});

export const makeKept = (data) => {
  // Opened from disk a page may have no store; then a session lasts as long as its tab.
  const key = `hitgap-training-1/${data.voices.map((v) => v.name + (v.sound ? `@${v.sound}` : '')).join('+')}/${data.tempo_bpm}${data.bar ? `/${data.bar.name}` : ''}`;
  const attempt = (act) => { try { return act(); } catch { return null; } };
  return {
    put: (session) => attempt(() => { localStorage.setItem(key, JSON.stringify(session)); return true; }) === true,
    get: () => attempt(() => JSON.parse(localStorage.getItem(key))),
    drop: () => attempt(() => localStorage.removeItem(key)),
  };
};

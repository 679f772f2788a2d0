// How loud a training page plays. It starts quiet.
/** The slider `level` and what stands beside it; `changed` is told each new factor. */
export const level = ($, changed) => {
  const gain = () => {
    const db = Number($('level').value);
    return db <= -60 ? 0 : Math.pow(10, db / 20);
  };
  const tell = () => {
    const db = Number($('level').value);
    $('level-says').textContent = db <= -60 ? 'silent' : `${db < 0 ? '−' : ''}${Math.abs(db)} dB`;
    changed(gain());
  };
  $('level').addEventListener('input', tell);
  tell();
  return { gain };
};

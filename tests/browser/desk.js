// A desk as a server tells it, of one box more or less late; what the page sends is answered from here and kept in `hitgap.sent`.
const own = { revision: 1000, undo: 0, late: '1 ms', file: null, saved: true, gone: false };
const base = structuredClone(hitgap.data.tempos);
hitgap.sent = [];
const words = () => [
  { at: ['sequencer', 'wren'], says: 'wren', value: 'wren', takes: { is: 'name' }, about: 'a box', also: null, of: 'sequencer.wren', lights: [], fault: null, changed: false, without: null, clears: true },
  { at: ['sequencer', 'wren', 'latency'], says: own.late, value: own.late, takes: { is: 'dial', units: ['ms', 'us'], least: '0 s', most: '600 s', of: null }, about: 'how late it is', also: null, of: 'sequencer.wren', lights: ['sequencer.ox'], fault: null, changed: false, without: '0 s', clears: true },
  { at: ['sequencer', 'ox', 'steps'], says: 'X...', value: 'X...', takes: { is: 'steps' }, about: 'its pattern', also: null, of: 'sequencer.ox', lights: [], fault: null, changed: false, without: null, clears: false },
];
const button = (n) => `<button type="button" class="word" data-word="${n}">${words()[n].says}</button>`;
const desk = () => ({
  revision: own.revision, text: `title = "late"\n\n[sequencer.wren]\nlatency = "${own.late}"\n`, saved: own.saved, hash: 'h', undo: own.undo, redo: 0, fault: null, warnings: [], kept: null, file: own.file,
  words: words(), faults: [], can: { add: [], boxes: [], components: [], voices: [] },
  sentences: [
    { id: 'sequencer.ox', kind: 'sequencer', name: 'ox', markup: `<p>ox plays ${button(2)}.</p>`, faults: [] },
    { id: 'sequencer.wren', kind: 'sequencer', name: 'wren', markup: `<p>${button(0)} is ${button(1)} late.</p>`, faults: [] },
  ],
});
/** The tempo at hand with the second box later in every version. */
const near = (bpm) => {
  const tempo = structuredClone(base.find((one) => one.bpm === bpm));
  const by = parseFloat(own.late) - 1;
  for (const cell of tempo.cells) for (const hit of cell.hits) if (hit[4] === 1) hit[0] += by;
  return { tempo: bpm, lead: 'It is <b class="name">later</b>', data: { variants: hitgap.data.variants, voices: hitgap.data.voices, tempo } };
};
const real = window.fetch;
const answer = (status, value) => new Response(JSON.stringify(value), { status });
window.fetch = async (path, asked) => {
  if (own.gone) throw new TypeError('gone');
  if (path === '/progress') return answer(200, null);
  if (path.startsWith('/now')) return answer(200, { ...(await (await real('/now')).json()), desk: desk(), of: 0 });
  if (!asked || !asked.body) return real(path, asked);
  const body = JSON.parse(asked.body);
  hitgap.sent.push([path, body]);
  if (path === '/save') return answer(200, { desk: desk() });
  const set = body.edits?.find((edit) => edit.do === 'set');
  if (set) own.late = set.to;
  own.revision += 1;
  own.undo += 1;
  own.saved = false;
  return answer(200, { desk: desk(), near: near(body.tempo) });
};
hitgap.stub = own;
return hitgap.live.look();

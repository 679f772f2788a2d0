// A listening page, begun.
import { chance } from './chance.mjs';
import { chapters } from './chapters.mjs';
import { classSheet } from './class.mjs';
import { engine } from './engine.mjs';
import { mountIdentify } from './identify.mjs';
import { keys } from './keys.mjs';
import { level } from './level.mjs';
import { loudnessOf, truePeakOf } from './loudness.mjs';
import { sound } from './sound.mjs';

for (const page of chapters.pages) {
  mountIdentify(page);
  page.tell();
  page.say('ready');
}
globalThis.hitgap = { engine, chance, level, loudness: { loudnessOf, truePeakOf }, sound, chapters, classSheet, keys, ...chapters.pages[0] };
document.documentElement.dataset.ready = 'true';

// The gain after which everything is heard: it follows the listener's level, slowly where that rises.
import { level } from './level.mjs';

export const makeMaster = (context) => {
  const node = context.createGain();
  node.gain.value = level.gain();
  node.connect(context.destination);
  level.onChange(() => {
    const to = level.gain(), now = context.currentTime;
    const from = Math.max(node.gain.value, level.floor);
    node.gain.cancelScheduledValues(now);
    if (to > from) {
      node.gain.setValueAtTime(from, now);
      node.gain.exponentialRampToValueAtTime(to, now + level.seconds(from, to));
    } else {
      node.gain.setTargetAtTime(to, now, 0.008);
    }
  });
  return node;
};

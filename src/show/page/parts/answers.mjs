// The grid of versions by tempos: a cell is chosen by a click or by arrow keys, and plays.

export const makeAnswers = ({ root, $, data, state, cell, changed }, player) => {
  const grid = $('answers');
  const found = () => new Map([...grid.querySelectorAll('[data-cell]')].map((button) => [button.dataset.cell, button]));
  let cells = found();
  const at = (tempo, version) => cells.get(`${tempo}/${version}`);

  changed.push(() => {
    for (const [place, button] of cells) {
      const chosen = place === `${state.tempo}/${state.version}`;
      button.setAttribute('aria-selected', String(chosen));
      button.tabIndex = chosen ? 0 : -1;
    }
    // At a tempo that has no column, the grid is come to all the same.
    if (!at(state.tempo, state.version)) [...cells.values()].slice(0, 1).forEach((button) => { button.tabIndex = 0; });
  });

  /** The next cell that is made from here by so many tempos and versions, or null at the edge. */
  const beside = (tempo, version, [across, down]) => {
    for (;;) {
      tempo += across;
      version += down;
      if (tempo < 0 || version < 0 || tempo >= data.tempos.length || version >= data.variants.length) return null;
      if (cell(tempo, version) !== null && at(tempo, version)) return [tempo, version];
    }
  };
  const steps = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  grid.addEventListener('keydown', (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    let to = null;
    if (steps[event.key]) to = beside(state.tempo, state.version, steps[event.key]);
    else if (event.key === 'Home') to = [0, state.version];
    else if (event.key === 'End') to = [data.tempos.length - 1, state.version];
    else return;
    event.preventDefault();
    if (!to || cell(...to) === null) return;
    player.select(...to);
    at(...to)?.focus();
  });
  // Browsers leave a cell that is partly in sight where it is. Not for a click: the cell must not move away under it.
  grid.addEventListener('focusin', ({ target }) => {
    if (target.matches(':focus-visible')) target.scrollIntoView({ block: 'nearest', inline: 'nearest' });
  });
  grid.addEventListener('click', (event) => {
    const button = event.target.closest('[data-cell]');
    if (!button) return;
    const [tempo, version] = button.dataset.cell.split('/').map(Number);
    if (tempo === state.tempo && version === state.version) { player.toggle(); return; }
    player.select(tempo, version);
    if (!player.sounding()) player.toggle();
  });
  /** Takes another grid over, with its cells; where one had the focus, the one that is chosen then has it. */
  const renew = (next) => {
    const focus = grid.contains(document.activeElement);
    grid.className = next.className;
    grid.replaceChildren(...next.childNodes);
    cells = found();
    if (focus) at(state.tempo, state.version).focus();
  };
  return { at, renew };
};

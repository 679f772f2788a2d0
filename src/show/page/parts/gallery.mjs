// The gallery: a button has its rig written into the folder, and the page becomes that rig's.
const problem = document.getElementById('gallery-problem');
const buttons = [...document.querySelectorAll('[data-begin]')];

const begin = async (name) => {
  problem.textContent = '';
  for (const button of buttons) button.disabled = true;
  try {
    const answer = await fetch('/begin', {
      method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify({ name }), cache: 'no-store',
    });
    if (answer.ok) {
      location.assign('/');
      return;
    }
    problem.textContent = await answer.text();
  } catch {
    problem.textContent = 'The program has ended. Start `hitgap open` again.';
  }
  for (const button of buttons) button.disabled = false;
};
for (const button of buttons) button.addEventListener('click', () => begin(button.dataset.begin));

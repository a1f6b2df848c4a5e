// One dialog for everything that is asked: a question, a name, a choice, a text to read.
import { made } from './views.js';

const byId = (id) => document.getElementById(id);

/** Shows it; gives what was chosen or written, null where it was cancelled. */
export function ask({ title, text = '', label = null, value = '', yes = 'Yes', choices = [], pre = null }) {
  const dialog = byId('dialog');
  byId('dialog-h').textContent = title;
  byId('dialog-p').textContent = text;
  byId('dialog-l').hidden = label === null;
  byId('dialog-l').firstElementChild.textContent = label ?? '';
  byId('dialog-i').value = value;
  byId('dialog-yes').textContent = yes;
  byId('dialog-yes').hidden = choices.length > 0;
  return new Promise((give) => {
    const list = byId('dialog-u');
    list.replaceChildren(...choices.map((choice, at) => made('li', {}, made('button', { value: `choice ${at}` }, choice))));
    if (pre !== null) list.append(made('li', {}, made('pre', { tabindex: 0 }, pre)));
    list.hidden = !list.children.length;
    dialog.returnValue = 'no';
    dialog.addEventListener('close', () => {
      const answer = dialog.returnValue;
      if (answer === 'yes') give(label === null ? true : byId('dialog-i').value);
      else if (answer.startsWith('choice ')) give(Number(answer.slice(7)));
      else give(null);
    }, { once: true });
    dialog.showModal();
    if (label !== null) byId('dialog-i').select();
  });
}

// What goes home with the player: the coach's text on what to practise, and the sheet to print.

import { isCoach, lesson } from './store.js';
import { part } from './api.js';
import { h } from './dom.js';
import { remark } from './outcome.js';

/** What is being typed; a swing that comes meanwhile draws the page anew. */
let typed = null;

/** The sheet of the session on the page; `c` is the comparison. */
export function takeHome(c) {
  if (c.before.session !== c.after.session) return null;
  const sheet = (more) => `/api/v1/sessions/${part(c.after.session)}/report?before=${part(label(c.before))}&after=${part(label(c.after))}${more}`;
  const link = (more, words) => h('a', { href: sheet(more), target: '_blank', rel: 'noopener', class: 'button' }, words);
  return h('section', { class: 'take-home' }, h('h2', {}, 'To take home'),
    isCoach() && c.after.session === lesson()?.session && practise(c.after.session),
    h('p', { class: 'actions' }, link('', 'Open the sheet to print'), link('&appendix=true', 'With the coach’s appendix')));
}

const label = (side) => side.name.slice(side.name.indexOf(':') + 1);

function practise(session) {
  const said = lesson()?.remarks?.practise ?? '';
  if (typed?.session !== session) typed = null;
  const save = h('button', { type: 'submit', 'data-key': 'practise-save', disabled: typed === null || typed.text === said }, 'Save');
  const text = h('textarea', { id: 'practise', rows: 3, maxlength: 4000, 'data-key': 'practise', oninput: (e) => {
    typed = { session, text: e.target.value };
    save.disabled = e.target.value.trim() === said;
  } });
  text.value = typed?.text ?? said;
  return h('form', { class: 'practise-form', onsubmit: async (event) => {
    event.preventDefault();
    const words = text.value.trim();
    typed = null;
    await remark(session, { what: 'practise', text: words });
  } }, h('label', { for: 'practise' }, 'To practise until the next lesson', h('span', { class: 'hint' }, ' (stands first on the sheet)')), text, save);
}

// A device that the daemon does not know: how to pair it.

import { attempt } from './store.js';
import { post } from './api.js';
import { h } from './dom.js';
import { capital } from './format.js';

export function enterPairing(main, { text, passcode }) {
  const input = h('input', { id: 'passcode', type: 'password', autocomplete: 'current-password', maxlength: 256 });
  main.append(h('div', { class: 'quiet-page' },
    h('h1', {}, 'This device is not paired'),
    h('p', { class: 'lead' }, `${capital(text)}.`),
    passcode && h('form', { class: 'fields', onsubmit: async (event) => {
      event.preventDefault();
      // The device has its cookie now. Reload with it.
      if (await attempt(() => post('/pair', { passcode: input.value }))) location.reload();
    } },
    h('div', {}, h('label', { for: 'passcode' }, 'Passcode'), input),
    h('div', { class: 'actions' }, h('button', { type: 'submit', class: 'main' }, 'Pair this device')))));
}

// Before and after as pictures. They are drawn by the daemon, which draws the sheet on paper with the same code.

import { h, s } from './dom.js';
import { capital, unbroken } from './format.js';
import { mark } from './shapes.js';

/** Room that pictures are asked for, pixels. */
export const roomOf = (place) => Math.round(Math.max(240, Math.min(1400, place.clientWidth || innerWidth - 40)));

/** A drawing as an element. Its texts were escaped where it was made, and nothing in it runs. */
export function drawing(svg) {
  return document.adoptNode(new DOMParser().parseFromString(svg, 'text/html').querySelector('svg'));
}

/** A drawing with its heading, numbers and how to read it. */
export function figure(drawn, heading = 'h2') {
  return h('figure', { class: 'drawn', 'data-figure': drawn.key },
    h(heading, { class: 'small-title' }, drawn.title),
    drawing(drawn.svg),
    h('figcaption', {},
      drawn.lines.length > 0 && h('ul', { class: 'drawn-lines' }, drawn.lines.map((l) => h('li', {},
        l.segment && s('svg', { width: 20, height: 20, viewBox: '0 0 20 20', 'aria-hidden': 'true' }, mark(l.segment, 10, 10, 6.5)),
        h('span', {}, unbroken(l.words))))),
      h('p', { class: 'fine' }, unbroken(drawn.note))));
}

/** All of it: the headline with its two pictures, at most three sentences, then the other pictures. */
export function pictures(p) {
  const [first, ...others] = p.shown;
  const [body, ...more] = p.figures;
  return [
    h('section', { class: 'picture-lead', 'data-reason': p.reason, 'data-measure': first.key, 'data-verdict': first.verdict },
      h('p', { class: 'fine' }, `${p.reason_words}${p.reason === 'largest' ? '.' : ':'}`),
      h('h2', { class: 'picture-headline' }, unbroken(first.headline)),
      h('p', { class: 'picture-detail' }, unbroken(first.detail)),
      h('div', { class: 'picture-pair' }, figure(first.figure, 'h3'), body && figure(body, 'h3')),
      p.sentences.length > 0 && h('ul', { class: 'picture-sentences' }, p.sentences.map((words) => h('li', {}, unbroken(words)))),
      h('p', { class: 'fine' }, capital(unbroken(p.sure)))),
    (others.length > 0 || more.length > 0) && h('section', { class: 'picture-more' },
      h('h2', { class: 'unseen' }, 'More pictures'),
      others.length > 0 && h('div', { class: 'picture-others' }, others.map((shown) => h('div', { 'data-measure': shown.key, 'data-verdict': shown.verdict }, figure(shown.figure, 'h3')))),
      // The strip is wide.
      more.length > 0 && h('div', { class: 'picture-pair' }, [...more].reverse().map((drawn) => figure(drawn, 'h3')))),
  ];
}

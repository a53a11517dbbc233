// The address of what is shown: screen, opened lesson, swing, pair of blocks. A reload, the way back and a link that was
// sent lead there.

/** `#after?a=…` → `{ path: 'after', query }`. */
export function parsed() {
  const [path, query] = location.hash.slice(1).split('?');
  return { path, query: new URLSearchParams(query ?? '') };
}

export function written(path, query) {
  // A colon and a comma need no escape, and an address is read by people.
  const text = query.toString().replaceAll('%3A', ':');
  return `#${path}${text ? `?${text}` : ''}`;
}

/**
 * Changes the address of what is shown without a step in the history; null or '' leaves a part out. An answer that comes when
 * another screen than `screen` is shown changes nothing.
 */
export function keep(changes, screen) {
  const { path, query } = parsed();
  if (screen && screen !== path) return;
  for (const [name, value] of Object.entries(changes)) {
    if (value === null || value === '') query.delete(name);
    else query.set(name, value);
  }
  // The entry remembers which lesson was opened, also where the address does not say one.
  history.replaceState({ lesson: query.get('lesson') }, '', written(path, query));
}

/** The lesson that an entry of the history was left with: null for the one that runs, undefined for a new entry. */
export const remembered = () => history.state?.lesson;

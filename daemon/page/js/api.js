// The daemon's interface: JSON requests and event streams, all from the page's own origin.

const BASE = '/api/v1';

async function request(method, path, body) {
  return (await answer(method, path, body)).value;
}

async function answer(method, path, body) {
  let response;
  try {
    response = await fetch(BASE + path, {
      method,
      headers: body === undefined ? {} : { 'Content-Type': 'application/json' },
      body: body === undefined ? undefined : JSON.stringify(body),
      cache: 'no-store',
    });
  } catch {
    throw new Error('The daemon does not answer. Is it running, and is this device on its network?');
  }
  const text = await response.text();
  let value = null;
  try {
    value = text ? JSON.parse(text) : null;
  } catch {
    throw new Error(`${path}: the answer is not JSON (status ${response.status}).`);
  }
  if (!response.ok) {
    const error = new Error(value?.error ?? `${path}: status ${response.status}.`);
    throw Object.assign(error, { status: response.status, passcode: value?.passcode === true });
  }
  return { value, headers: response.headers };
}

/** A part of a list: its rows, how many there are altogether, the path of the next part, and what of the library is read so far. */
export async function getPart(path) {
  const { value, headers } = await answer('GET', path);
  const next = headers.get('Link')?.match(/^<([^>]+)>; rel="next"$/)?.[1] ?? null;
  return {
    rows: Array.isArray(value) ? value : [],
    total: Number(headers.get('Peakorder-Total') ?? 0),
    next: next?.startsWith(BASE) ? next.slice(BASE.length) : null,
    reading: headers.get('Peakorder-Reading')?.split('/').map(Number) ?? null,
  };
}

/** All lessons of a player (id, or the name of who has none): as many as can matter. */
export const lessonsOf = (player) => get(`/sessions?player=${part(player)}&limit=1000`);

export const get = (path) => request('GET', path);
// A body is always sent, because the daemon takes changes only as JSON.
export const post = (path, body = {}) => request('POST', path, body);
export const put = (path, body = {}) => request('PUT', path, body);
export const remove = (path, body = {}) => request('DELETE', path, body);

export const part = encodeURIComponent;

/** An event stream; `handlers` by event name, each called with (data, sequence number). */
export function stream(path, handlers, onerror) {
  const source = new EventSource(BASE + path);
  for (const [name, handler] of Object.entries(handlers)) {
    source.addEventListener(name, (message) => {
      let data = null;
      try {
        data = message.data ? JSON.parse(message.data) : null;
      } catch {
        return;
      }
      handler(data, Number(message.lastEventId) || 0);
    });
  }
  source.onerror = () => onerror?.(source);
  return source;
}

const curveCache = new Map();

/** Curves of one swing, kept for the swings looked at last. */
export async function curvesOf(session, number) {
  const key = `${session}/${number}`;
  if (!curveCache.has(key)) {
    if (curveCache.size > 40) curveCache.delete(curveCache.keys().next().value);
    const loading = get(`/sessions/${part(session)}/swings/${number}/curves`);
    curveCache.set(key, loading);
    loading.catch(() => curveCache.delete(key));
  }
  return curveCache.get(key);
}

/** A session computed again may have other curves. */
export function forgetCurves() {
  curveCache.clear();
}

// @ts-check
// Keeps a page as it is now: listens while it is seen, and puts what has changed in place of what was there.

/** Between two looks at the page [ms]; the first change is shown at once. */
const BETWEEN_LOOKS = 1000;
/** Events after which the page may have changed. */
const NEWS = ['frame', 'alarm', 'gateway', 'forecast', 'reload'];

/** @type {EventSource | null} */
let stream = null;
/** Gives up what this page listens by; null while it does not. @type {(() => void) | null} */
let letGo = null;
/** A browser opens six connections to a server: of all pages one listens, and tells the others. */
const others = new BroadcastChannel('overwinter-live');
/** The number of the last frame that was told; a break is made up for from there. */
let last = '';
let looked = 0;
/** @type {number | undefined} */
let waiting;

/** @param {string} text */
function say(text) {
  const line = document.getElementById('link');
  if (line && line.textContent !== text) line.textContent = text;
}

/**
 * Puts the parts of a newer page in place of those that differ; what a person opened stays open.
 * @param {Document} newer
 */
function replace(newer) {
  document.title = newer.title;
  for (const part of document.querySelectorAll('[data-part]')) {
    const name = part.getAttribute('data-part');
    const other = newer.querySelector(`[data-part="${CSS.escape(name ?? '')}"]`);
    if (!other || other.outerHTML === part.outerHTML || part.contains(document.activeElement)) continue;
    const open = [...part.querySelectorAll('details')].map((details) => details.open);
    other.querySelectorAll('details').forEach((details, place) => { details.open = open[place] ?? false; });
    part.replaceWith(document.adoptNode(other));
  }
  document.dispatchEvent(new Event('overwinter-newer'));
}

async function look() {
  waiting = undefined;
  looked = Date.now();
  try {
    const answer = await fetch(location.href, { headers: { accept: 'text/html' } });
    if (!answer.ok) throw new Error(String(answer.status));
    replace(new DOMParser().parseFromString(await answer.text(), 'text/html'));
    say('');
  } catch {
    say('No connection to the log: what stands here may be old.');
  }
}

function soon() {
  if (waiting !== undefined) return;
  waiting = window.setTimeout(look, Math.max(0, looked + BETWEEN_LOOKS - Date.now()));
}

/** @param {Event} event */
function heard(event) {
  const id = /** @type {MessageEvent} */ (event).lastEventId;
  if (id) last = id;
  others.postMessage('news');
  soon();
}

function open() {
  stream = new EventSource(last ? `/live?from=${encodeURIComponent(last)}` : '/live');
  for (const kind of NEWS) stream.addEventListener(kind, heard);
  stream.addEventListener('open', soon);
  stream.addEventListener('error', () => {
    say('No connection to the log: what stands here may be old.');
    others.postMessage('cut');
    // A browser gives up for good where the answer is not a stream.
    if (stream?.readyState === EventSource.CLOSED) window.setTimeout(() => { if (stream) { stream.close(); open(); } }, 5000);
  });
}

function close() {
  stream?.close();
  stream = null;
}

function listen() {
  if (letGo || document.visibilityState !== 'visible') return;
  // Only where the address is this machine's own, or sealed, can pages agree on one.
  if (!navigator.locks) {
    letGo = close;
    open();
    return;
  }
  const waits = new AbortController();
  letGo = () => waits.abort();
  const held = () => new Promise((done) => {
    open();
    letGo = () => { close(); done(undefined); };
  });
  // Given up before its turn.
  navigator.locks.request('overwinter-live', { signal: waits.signal }, held).catch(() => {});
}

function rest() {
  letGo?.();
  letGo = null;
}

others.addEventListener('message', soon);
document.addEventListener('visibilitychange', () => (document.visibilityState === 'visible' ? listen() : rest()));
addEventListener('pagehide', rest);
addEventListener('pageshow', listen);
// Minutes pass also where nothing is heard.
setInterval(() => { if (document.visibilityState === 'visible') soon(); }, 60_000);
listen();

// @ts-check
// Keeps visits that can't be sent yet in this browser, and sends each once when the log is reached again. The log knows a visit
// by its own number, so that one that is sent twice is there once.

const KEY = 'overwinter-visits';
/** Between two tries [ms]. */
const NEXT_TRY = 20000;

/** @typedef {{ own_id: string, node: string, what: string, parts: string[], at: string }} Visit */

/** @returns {Visit[]} */
function unsent() {
  return JSON.parse(localStorage.getItem(KEY) || '[]');
}

/** @param {Visit[]} visits */
function keep(visits) {
  localStorage.setItem(KEY, JSON.stringify(visits));
  const line = document.getElementById('unsent');
  if (line) line.textContent = visits.length ? `${visits.length} noted here and not sent yet` : '';
}

/** @param {string} text */
function say(text) {
  const line = document.getElementById('unsent');
  if (line) line.textContent = text;
}

/** Sends what waits, the oldest first; stops at the first that does not get through. */
async function send() {
  for (const visit of unsent()) {
    const me = await fetch('/api/v1/me');
    if (!me.ok) return;
    const form = (await me.json()).form || '';
    const headers = { 'content-type': 'application/json', 'overwinter-form': form };
    const answer = await fetch('/api/v1/visits', { method: 'POST', headers, body: JSON.stringify(visit) });
    if (answer.status >= 500 || answer.status === 401 || answer.status === 403) return;
    keep(unsent().filter((other) => other.own_id !== visit.own_id));
    say(answer.ok ? 'noted' : `not taken: ${(await answer.json()).detail}`);
  }
}

function trySending() {
  if (unsent().length) send().catch(() => say(`${unsent().length} noted here and not sent yet`));
}

const form = document.getElementById('visit');
if (form instanceof HTMLFormElement) {
  form.addEventListener('submit', (event) => {
    event.preventDefault();
    const data = new FormData(form);
    const parts = [...form.querySelectorAll('input[type="checkbox"]')].filter((box) => box instanceof HTMLInputElement && box.checked);
    keep([...unsent(), {
      own_id: crypto.randomUUID ? crypto.randomUUID() : `${Date.now()}-${Math.random().toString(36).slice(2, 12)}`,
      node: form.dataset.node || '',
      what: String(data.get('what')),
      parts: parts.map((box) => box.getAttribute('name') || ''),
      at: new Date().toISOString(),
    }]);
    form.reset();
    trySending();
  });
}
addEventListener('online', trySending);
setInterval(trySending, NEXT_TRY);
keep(unsent());
trySending();

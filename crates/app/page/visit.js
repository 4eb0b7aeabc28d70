// @ts-check
// Keeps visits that can't be sent yet in this browser, and sends each once when the log is reached again. The log knows a visit
// by its own number, so that one that is sent twice is there once.

const KEY = 'overwinter-visits';
/** Between two tries [ms]. */
const NEXT_TRY = 20000;

/** Pictures are made no larger than this along their longer side [px], and lighter until they have no more bytes than this. */
const LARGEST_SIDE = 1600;
const LARGEST_BYTES = 700_000;

/** @typedef {{ own_id: string, node: string, what: string, parts: string[], at: string, photo?: string, certificate?: string, due?: string }} Visit */

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

/** A picture as it is kept: scaled, as JPEG in base64. @param {File} file */
async function scaled(file) {
  const picture = await createImageBitmap(file);
  const share = Math.min(1, LARGEST_SIDE / Math.max(picture.width, picture.height));
  const canvas = document.createElement('canvas');
  canvas.width = Math.round(picture.width * share);
  canvas.height = Math.round(picture.height * share);
  canvas.getContext('2d')?.drawImage(picture, 0, 0, canvas.width, canvas.height);
  for (const quality of [0.85, 0.7, 0.5, 0.3]) {
    const text = canvas.toDataURL('image/jpeg', quality).split(',')[1];
    if (text.length * 0.75 <= LARGEST_BYTES) return text;
  }
  throw new Error('it stays too large');
}

function trySending() {
  if (unsent().length) send().catch(() => say(`${unsent().length} noted here and not sent yet`));
}

/** Keeps what the form says; only then is it empty again. @param {HTMLFormElement} form */
async function note(form) {
  const data = new FormData(form);
  const parts = [...form.querySelectorAll('input[type="checkbox"]')].filter((box) => box instanceof HTMLInputElement && box.checked);
  /** @type {Visit} */
  const visit = {
    own_id: crypto.randomUUID ? crypto.randomUUID() : `${Date.now()}-${Math.random().toString(36).slice(2, 12)}`,
    node: form.dataset.node || '',
    what: String(data.get('what')),
    parts: parts.map((box) => box.getAttribute('name') || ''),
    at: new Date().toISOString(),
  };
  const [certificate, due] = ['certificate', 'due'].map((name) => String(data.get(name) || '').trim());
  if (certificate) visit.certificate = certificate;
  if (due) visit.due = due;
  const photo = data.get('photo');
  if (photo instanceof File && photo.size > 0) {
    try {
      visit.photo = await scaled(photo);
    } catch {
      say('This picture can\u2019t be read: choose another, or none. Nothing is noted yet.');
      return;
    }
  }
  try {
    keep([...unsent(), visit]);
  } catch {
    say('There is no room left in this browser: nothing is noted yet. Send what waits, or note it without a picture.');
    return;
  }
  form.reset();
  trySending();
}

const form = document.getElementById('visit');
if (form instanceof HTMLFormElement) {
  form.addEventListener('submit', (event) => {
    event.preventDefault();
    void note(form);
  });
}
addEventListener('online', trySending);
setInterval(trySending, NEXT_TRY);
keep(unsent());
trySending();

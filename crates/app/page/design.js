// @ts-check
// Design files whose verdicts follow the typing: one, or two side by side.

/** Wait so long after a key until law and message are asked for, and the first lives after them [ms]. */
const WHILE_TYPING = 60;
/** So long after the last key the text is taken for finished, and all lives are lived [ms]. */
const AT_REST = 1500;

/** What two editors side by side say, in their order. @type {HTMLElement[]} */
const answers = [];

function title() {
  const h1 = document.querySelector('h1');
  if (h1) h1.textContent = answers.map((answer) => answer.querySelector('p')?.textContent ?? '').join('; beside it: ');
}

/**
 * Shows a newer answer; where it says nothing of the life yet, what was said last stays, marked as older.
 * @param {HTMLElement} answer
 * @param {string} part
 */
function show(answer, part) {
  const newer = new DOMParser().parseFromString(part, 'text/html').body;
  const waiting = newer.querySelector('.verdict.waiting');
  const known = answer.querySelector('.verdict:not(.waiting)');
  if (waiting && known?.querySelector('p')?.textContent === 'life') {
    known.classList.add('older');
    waiting.replaceWith(known);
  }
  answer.replaceChildren(...newer.childNodes);
  title();
}

/** @param {HTMLFormElement} form */
function follow(form) {
  const text = /** @type {HTMLTextAreaElement} */ (form.querySelector('textarea'));
  const answer = /** @type {HTMLElement} */ (form.querySelector('.answer'));
  const download = /** @type {HTMLButtonElement} */ (form.querySelector('.download'));
  answers.push(answer);
  /** @type {number | undefined} */
  let typing;
  /** @type {number | undefined} */
  let resting;
  /** What is being asked; a newer question ends it, here and at the station. */
  let asking = new AbortController();
  /** Tells the work of this editor from that of others. */
  const by = Math.random().toString(36).slice(2);

  /** @param {...string} steps one after the other */
  async function ask(...steps) {
    asking.abort();
    const own = (asking = new AbortController());
    try {
      for (const step of steps) {
        const body = new URLSearchParams({ text: text.value, step, part: 'answer', by });
        const said = await fetch(form.action, { method: 'POST', body, signal: own.signal });
        const part = await said.text();
        if (own.signal.aborted) return;
        if (said.ok) show(answer, part);
        else answer.textContent = `The verdicts are of an older text: ${part}`;
      }
    } catch {
      if (!own.signal.aborted) answer.textContent = 'No connection: the verdicts are of an older text.';
    }
  }

  text.addEventListener('input', () => {
    clearTimeout(typing);
    clearTimeout(resting);
    typing = window.setTimeout(() => ask('at-once', 'first-lives'), WHILE_TYPING);
    resting = window.setTimeout(() => ask('whole'), AT_REST);
  });

  answer.addEventListener('click', (event) => {
    const button = /** @type {Element} */ (event.target).closest('button[data-from]');
    if (!(button instanceof HTMLButtonElement)) return;
    text.focus();
    text.setSelectionRange(Number(button.dataset.from), Number(button.dataset.to));
    const line = text.value.slice(0, Number(button.dataset.from)).split('\n').length - 1;
    text.scrollTop = Math.max(0, (line - 3) * Number.parseFloat(getComputedStyle(text).lineHeight));
  });

  form.addEventListener('submit', (event) => {
    event.preventDefault();
    void ask('whole');
  });

  download.hidden = false;
  download.addEventListener('click', () => {
    const link = document.createElement('a');
    link.href = `data:application/toml;charset=utf-8,${encodeURIComponent(text.value)}`;
    link.download = (form.dataset.design ?? 'design.toml').split('/').pop() ?? '';
    link.click();
  });

  // The page came with the first lives alone.
  void ask('whole');
}

document.querySelectorAll('form[data-design]').forEach((form) => { if (form instanceof HTMLFormElement) follow(form); });

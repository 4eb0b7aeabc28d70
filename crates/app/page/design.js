// @ts-check
// Design files whose verdicts follow the typing: one, or two side by side.

/** Wait so long after a key [ms]; and so long until it is taken for finished. */
const WHILE_TYPING = 120;
const AT_REST = 1500;

/** What two editors side by side say, in their order. @type {HTMLElement[]} */
const answers = [];

function title() {
  const h1 = document.querySelector('h1');
  if (h1) h1.textContent = answers.map((answer) => answer.querySelector('p')?.textContent ?? '').join('; beside it: ');
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
  let asked = 0;
  /** Tells the work of this editor from that of others, so that older work of its own is stopped. */
  const by = Math.random().toString(36).slice(2);

  /** @param {boolean} isResting */
  async function ask(isResting) {
    const own = (asked += 1);
    try {
      const body = new URLSearchParams({ text: text.value, resting: isResting ? 'yes' : 'no', part: 'answer', by });
      const said = await fetch(form.action, { method: 'POST', body });
      const part = await said.text();
      // A newer question has been asked meanwhile.
      if (own !== asked || !said.ok) return;
      const newer = new DOMParser().parseFromString(part, 'text/html');
      answer.replaceChildren(...newer.body.childNodes);
      title();
    } catch {
      if (own === asked) answer.textContent = 'No connection: the verdicts are of an older text.';
    }
  }

  text.addEventListener('input', () => {
    clearTimeout(typing);
    clearTimeout(resting);
    typing = window.setTimeout(() => ask(false), WHILE_TYPING);
    resting = window.setTimeout(() => ask(true), AT_REST);
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
    void ask(true);
  });

  download.hidden = false;
  download.addEventListener('click', () => {
    const link = document.createElement('a');
    link.href = `data:application/toml;charset=utf-8,${encodeURIComponent(text.value)}`;
    link.download = (form.dataset.design ?? 'design.toml').split('/').pop() ?? '';
    link.click();
  });
}

document.querySelectorAll('form[data-design]').forEach((form) => { if (form instanceof HTMLFormElement) follow(form); });

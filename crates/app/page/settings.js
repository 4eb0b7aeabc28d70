// @ts-check
// What would follow from a setting stands beside it while it is typed; nothing is sent before somebody says so.

/** Wait so long after a key [ms]. */
const WHILE_TYPING = 150;

/** @param {HTMLFormElement} form */
function follow(form) {
  /** @type {number | undefined} */
  let typing;
  let asking = new AbortController();

  async function look() {
    asking.abort();
    const own = (asking = new AbortController());
    try {
      const body = new URLSearchParams({ look: 'yes' });
      new FormData(form).forEach((value, name) => body.append(name, String(value)));
      const answer = await fetch(location.href, { method: 'POST', body, signal: own.signal });
      const newer = new DOMParser().parseFromString(await answer.text(), 'text/html');
      if (own.signal.aborted) return;
      for (const effect of form.querySelectorAll('.effect')) {
        effect.textContent = newer.getElementById(effect.id)?.textContent ?? '';
      }
      const message = form.querySelector('input[name="message"]')?.getAttribute('value') ?? '';
      const same = newer.querySelector(`form:has(input[name="message"][value="${CSS.escape(message)}"]) .follows`);
      form.querySelector('.follows')?.replaceChildren(...(same?.childNodes ?? []));
    } catch {
      if (own.signal.aborted) return;
      const follows = form.querySelector('.follows');
      if (follows) follows.textContent = 'No connection: what would follow is not known.';
    }
  }

  form.addEventListener('input', () => {
    clearTimeout(typing);
    typing = window.setTimeout(look, WHILE_TYPING);
  });
}

document.querySelectorAll('form.act').forEach((form) => { if (form instanceof HTMLFormElement) follow(form); });

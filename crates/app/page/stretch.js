// @ts-check
// Another stretch of time is drawn in place of the one that is shown, without leaving the page.

/** @param {string} address of the page with the wanted stretch */
async function draw(address) {
  const shown = document.querySelector('[data-stretch]');
  const wanted = new URL(address, location.href);
  wanted.searchParams.set('part', 'sent');
  const answer = await fetch(wanted);
  if (!answer.ok) throw new Error(String(answer.status));
  const newer = new DOMParser().parseFromString(await answer.text(), 'text/html').querySelector('[data-stretch]');
  if (!shown || !newer) throw new Error('no stretch of time');
  for (const open of shown.querySelectorAll('section:has(> details[open])')) {
    const same = newer.querySelector(`section[data-part="${CSS.escape(open.getAttribute('data-part') ?? '')}"] > details`);
    if (same instanceof HTMLDetailsElement) same.open = true;
  }
  shown.replaceWith(document.adoptNode(newer));
}

document.addEventListener('click', async (event) => {
  const link = /** @type {Element} */ (event.target).closest('[data-stretch] > nav a');
  if (!(link instanceof HTMLAnchorElement) || event.ctrlKey || event.metaKey || event.shiftKey || event.altKey) return;
  event.preventDefault();
  const [word, address] = [link.textContent, link.href];
  try {
    await draw(address);
    history.pushState(null, '', address);
    const ways = [...document.querySelectorAll('[data-stretch] > nav a')];
    const same = ways.find((way) => way.textContent === word) ?? ways[0];
    if (same instanceof HTMLElement) same.focus({ preventScroll: true });
  } catch {
    location.href = address;
  }
});

addEventListener('popstate', () => { draw(location.href).catch(() => location.reload()); });

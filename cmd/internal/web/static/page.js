// What the page does beyond links and forms, all of which work without this:
// the lookup box by keyboard and scanner, and news from the benches.
(() => {
  'use strict';
  const box = document.getElementById('q');
  const found = document.getElementById('looked-up');
  const typedIn = (el) => el && el.closest && el.closest('input, textarea, select');

  // The lookup box: slash goes to it, arrows choose, Escape goes back.
  const links = () => [...found.querySelectorAll('a')];
  const move = (by) => {
    const all = links();
    const to = all.indexOf(document.activeElement) + by;
    if (to < 0) box.focus();
    else if (all[to]) all[to].focus();
  };
  const keys = (e) => {
    if (e.key === 'ArrowDown' || e.key === 'ArrowUp') {
      e.preventDefault();
      move(e.key === 'ArrowDown' ? 1 : -1);
    } else if (e.key === 'Escape') {
      found.replaceChildren();
      box.focus();
      box.select();
    }
  };

  // A scanner types fast and ends with Enter. Where nothing is typed in, what it
  // read goes into the lookup box.
  const fast = 90; // milliseconds between its keys, as far as a letter alone waits (forms.js)
  let read = '';
  let last = 0;
  const scanned = (e) => {
    if (e.timeStamp - last > fast) read = '';
    last = e.timeStamp;
    if (e.key.length === 1) read += e.key;
    if (e.key !== 'Enter' || read.length < 4) return false;
    box.value = read;
    box.form.submit();
    return true;
  };

  if (box) {
    box.addEventListener('keydown', keys);
    found.addEventListener('keydown', keys);
    document.addEventListener('keydown', (e) => {
      if (e.ctrlKey || e.metaKey || e.altKey || typedIn(e.target)) return;
      if (scanned(e)) {
        e.preventDefault();
      } else if (e.key === '/') {
        e.preventDefault();
        box.focus();
        box.select();
      }
    });
    document.addEventListener('click', (e) => {
      if (!box.form.contains(e.target)) found.replaceChildren();
    });
  }

  // News: a page that shows something alive says what in data-live, and its parts
  // wait for the event "ledger". A part in which something is typed and not sent
  // is left as it is, and the person is told.
  const alive = () => document.querySelector('[data-live]');
  if (!alive() || !window.EventSource || !window.htmx) return;
  let stream = null;
  const begun = (el) => (el.type === 'radio' || el.type === 'checkbox' ? el.checked !== el.defaultChecked
    : el.tagName === 'SELECT' ? [...el.options].some((o) => o.selected !== o.defaultSelected) : el.value !== el.defaultValue);
  const fresh = () => {
    const fields = [...document.querySelectorAll('[data-live] :is(input, textarea, select)')];
    const busy = fields.some((el) => el === document.activeElement || begun(el));
    document.getElementById('news').hidden = !busy;
    if (!busy) window.htmx.trigger(document.body, 'ledger');
  };
  const told = (gone) => {
    document.getElementById('gone').hidden = !gone;
  };
  const watch = () => {
    stream = new EventSource('/live?' + alive().dataset.live);
    stream.addEventListener('changed', fresh);
    stream.addEventListener('open', () => told(false));
    stream.addEventListener('error', () => told(true));
  };
  // A browser keeps few connections to one place: a page that is not seen gives
  // its up, and looks anew when it is seen again.
  document.addEventListener('visibilitychange', () => {
    if (document.hidden) {
      if (stream) stream.close();
      stream = null;
    } else if (!stream) {
      watch(); // which tells at once what was missed
    }
  });
  window.addEventListener('pagehide', () => stream && stream.close());
  if (!document.hidden) watch();
})();

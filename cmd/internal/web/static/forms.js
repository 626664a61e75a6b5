// Forms for busy hands: a letter opens one, Enter saves from any field, and
// what is typed is kept by the program while it is typed. Without this, links
// and buttons do the same, and what is typed is kept once it was sent.
(() => {
  'use strict';
  const typedIn = (el) => el && el.closest && el.closest('input, textarea, select');

  // A letter opens a form, where nothing is typed in. A scanner types there too,
  // fast: a letter that others follow at once is none of ours.
  const alone = 90; // milliseconds until a letter is known to stand alone
  let waiting = 0;
  document.addEventListener('keydown', (e) => {
    clearTimeout(waiting);
    if (e.ctrlKey || e.metaKey || e.altKey || e.repeat || e.key.length !== 1 || typedIn(e.target)) return;
    const link = document.querySelector(':is(a, button)[data-key="' + CSS.escape(e.key.toLowerCase()) + '"]');
    if (link) waiting = setTimeout(() => link.click(), alone);
  });

  // What is proposed is taken over into its field, where that is empty still, and
  // lies there to be changed or saved.
  document.addEventListener('click', (e) => {
    const offer = e.target.closest && e.target.closest('button[data-fill]');
    const field = offer && offer.form.elements.namedItem(offer.dataset.fill);
    if (!field || field.value) return;
    field.value = offer.value;
    field.dispatchEvent(new Event('input', {bubbles: true}));
    field.focus();
    offer.remove();
  });

  const box = document.querySelector('[data-kept]');
  const form = box && box.querySelector('form');
  if (!form) return;
  const word = box.querySelector('.unsaid');
  const say = (text) => {
    if (word.textContent !== text) word.textContent = text;
  };

  // A test sheet is walked by keyboard: Enter goes to the next check, Shift and
  // Enter back, y or n answers one that asks for it.
  const onward = (el, by) => {
    const here = (el.closest('.check') || el).querySelector('.step') || el;
    const steps = [...form.querySelectorAll('.step')];
    const to = steps[steps.indexOf(here) + by];
    if (!to) return;
    to.focus();
    if (to.select) to.select();
  };
  const walked = (e) => {
    if (!e.target.matches('.walk input') || e.isComposing || e.ctrlKey || e.metaKey || e.altKey) return false;
    if (e.key === 'Enter') {
      onward(e.target, e.shiftKey ? -1 : 1);
      return true;
    }
    const answer = e.target.matches('[data-yesno]') && {y: 'yes', n: 'no'}[e.key.toLowerCase()];
    if (!answer) return false;
    e.target.value = answer;
    e.target.dispatchEvent(new Event('input', {bubbles: true}));
    onward(e.target, 1);
    return true;
  };

  // On the press and not on the key going down, after which the letter would
  // still come, into the field that was gone to.
  form.addEventListener('keypress', (e) => {
    if (walked(e)) e.preventDefault();
  });

  form.addEventListener('keydown', (e) => {
    if (e.key === 'Escape') {
      e.target.blur();
    } else if (e.key === 'Enter' && !e.shiftKey && !e.isComposing && e.target.matches('textarea:not([data-lines]), select, [type=checkbox]')) {
      e.preventDefault();
      form.requestSubmit();
    }
  });

  // What came with the first field is typed over, not into; what was typed before
  // is gone on with.
  const first = form.querySelector('[autofocus]');
  const enter = () => {
    const fresh = first.matches('input') && !document.querySelector('.restored');
    if (fresh) first.select();
    else if (first.matches('textarea, [type=text]')) first.setSelectionRange(first.value.length, first.value.length);
  };
  if (first === document.activeElement) enter();
  else if (first) first.addEventListener('focus', enter, {once: true});

  // keep sends what the form holds, and gives whether the program answered.
  const silent = 'The page’s program does not answer. What you typed stays here; this goes on by itself as soon as it answers.';
  const strange = 'The page’s program was started anew and does not know this browser. Open the address that it prints in another tab of this browser; this goes on by itself.';
  const full = 'What you type can’t be kept for later just now; it stays in this page. Is the disk full?';
  const keep = async () => {
    const held = new URLSearchParams(new FormData(form));
    held.set('kept-form', box.dataset.kept);
    held.set('kept-about', box.dataset.about);
    try {
      const res = await fetch('/unsent', {method: 'POST', body: held, headers: {'HX-Request': 'true'}});
      if (res.status === 401) {
        say(strange);
        return false;
      }
      say(res.ok ? '' : full);
      return true;
    } catch {
      say(silent);
      return false;
    }
  };

  // One goes after the other: an older one must not come last.
  let last = Promise.resolve(true);
  const inTurn = () => (last = last.then(keep));
  const again = 1500; // milliseconds
  const untilAnswered = async () => {
    while (!await inTurn()) await new Promise((done) => setTimeout(done, again));
  };
  let timer = 0;
  let asking = false; // for an answer, since there was none
  let dirty = false;
  const soon = () => {
    dirty = true;
    clearTimeout(timer);
    timer = setTimeout(async () => {
      dirty = false;
      if (asking || await inTurn()) return;
      asking = true;
      await untilAnswered();
      asking = false;
    }, 200);
  };
  form.addEventListener('input', soon);

  // Saving: first what is typed is kept, which tells whether the program answers
  // at all; then the form goes as it would without this.
  let going = false;
  form.addEventListener('submit', async (e) => {
    e.preventDefault();
    if (going) return;
    going = true;
    clearTimeout(timer);
    await untilAnswered();
    if (e.submitter && e.submitter.name) { // the button that was pressed says what is meant
      const said = document.createElement('input');
      [said.type, said.name, said.value] = ['hidden', e.submitter.name, e.submitter.value];
      form.append(said);
    }
    HTMLFormElement.prototype.submit.call(form);
  });
  window.addEventListener('pageshow', () => { going = false; });

  // Whoever goes to another form leaves this one as it is.
  window.addEventListener('pagehide', () => {
    if (going || !dirty) return;
    const held = new URLSearchParams(new FormData(form));
    held.set('kept-form', box.dataset.kept);
    held.set('kept-about', box.dataset.about);
    navigator.sendBeacon('/unsent', held);
  });
})();

// The keypad: two taps a reading, without a trip to the kernel. Runs with `this` inside a keypad, each time it is shown.
const panel = this.closest('.fk-take');
if (panel && !panel.fkMark) {
  const field = () => panel.querySelector('.fk-reading input');
  const form = /^\s*(\d*)\s*(?:(\d+)\/(\d+))?\s*$/;
  const read = () => { const m = form.exec(field().value); return m && {whole: m[1], in32: m[2] ? 32 * m[2] / m[3] : 0}; };
  const fraction = in32 => { let top = in32, under = 32;
    while (top && top % 2 === 0) { top /= 2; under /= 2; }
    return top ? top + '/' + under : ''; };
  const typed = p => (p.whole + ' ' + fraction(p.in32)).trim();
  panel.fkMark = () => { const f = field(), p = f && read();
    for (const key of panel.querySelectorAll('.fk-pad button')) {
      const kind = key.dataset.kind, value = key.dataset.value;
      const on = !!p && (kind === 'whole' ? p.whole === value : kind === 'more' ? p.in32 % 2 === 1
        : kind === 'part' ? p.in32 - p.in32 % 2 === Number(value) && (p.in32 > 0 || f.dataset.zero === '1') : false);
      key.classList.toggle('fk-on', on);
      if (['whole', 'part', 'more'].includes(kind)) key.setAttribute('aria-pressed', on); } };
  const happens = name => field().dispatchEvent(new Event(name, {bubbles: true}));
  const put = text => { field().value = text; happens('input'); };
  panel.addEventListener('click', event => {
    const key = event.target.closest('.fk-pad button'); if (!key) return;
    const {kind, value} = key.dataset, f = field(), p = read() || {whole: '', in32: 0};
    if (kind === 'other') { key.closest('.fk-pad').classList.add('fk-digits'); put(''); }
    else if (kind === 'digit') put((f.value.includes('/') ? f.value : f.value.trim()) + value);
    else if (kind === 'rub') put(f.value.trim().slice(0, -1).trim());
    else { if (kind === 'whole') p.whole = value;
      if (kind === 'part') { p.in32 = Number(value) + p.in32 % 2; f.dataset.zero = '1'; }
      if (kind === 'more') p.in32 += p.in32 % 2 ? -1 : 1;
      put(typed(p)); } });
  panel.addEventListener('input', event => { if (event.target === field()) panel.fkMark(); }, true);
  panel.addEventListener('focusin', event => { event.target.dataset.lmSuppressShortcuts = 'true'; });
  // a reading is sent whole, just before what is pressed: sent key by key, its end could come after the button
  panel.addEventListener('click', event => { if (event.target.closest('button:not(.fk-pad *)') && field()) happens('change'); }, true);
  // on its way down: the field lets no key through
  panel.addEventListener('keydown', event => { if (event.key === 'Enter' && event.target === field()) panel.querySelector('.fk-next').click(); }, true);
}
// the field gets its value for this station a moment before or after the keypad
const settle = left => { const f = panel && panel.querySelector('.fk-reading input');
  if (f) { delete f.dataset.zero; panel.fkMark(); }
  if (left) setTimeout(settle, 60, left - 1); };
if (panel) setTimeout(settle, 0, 3);

// What a machine sees wrong with a panel as it is shown: cut, run over, on each other, pale, small, long or untold.
panel => {
  const faults = [], edge = panel.getBoundingClientRect().right + 1;
  const shown = e => { const r = e.getBoundingClientRect();
    return r.width > 0 && r.height > 0 && getComputedStyle(e).opacity > 0; };
  const named = e => (e.textContent || e.className || e.tagName).trim().slice(0, 40);
  const all = [...panel.querySelectorAll('*')].filter(e => e.tagName !== 'STYLE' && shown(e));
  const only = tags => all.filter(e => e.matches(tags));

  for (const e of all) if (e.getBoundingClientRect().right > edge) faults.push('runs over the right edge: ' + named(e));
  for (const e of only('label, button, td, th, p, h2, summary, .widget-html-content'))
    if (e.scrollWidth > e.clientWidth + 2 && getComputedStyle(e).display !== 'inline') faults.push('cut: ' + named(e));
  const pen = document.createElement('canvas').getContext('2d');
  for (const e of only('select, input[type=text]')) {
    pen.font = getComputedStyle(e).font;
    const text = e.tagName === 'SELECT' ? e.selectedOptions[0]?.textContent ?? '' : e.value;
    if (pen.measureText(text).width > e.clientWidth - 12 && getComputedStyle(e).textOverflow !== 'ellipsis') faults.push('cut: ' + text);
  }

  const things = only('select, input, button, label, summary, p, h2, .fk-canvas, .fk-stage, .noUi-handle, ' +
    '.widget-html-content').filter(e => !e.closest('.fk-working'));  // which covers a map on purpose
  // what a list that scrolls does not show lies on nothing
  const seen = e => { let { left, right, top, bottom } = e.getBoundingClientRect();
    for (let o = e.parentElement; o && o !== panel.parentElement; o = o.parentElement)
      if (getComputedStyle(o).overflowY !== 'visible') { const r = o.getBoundingClientRect();
        [left, right] = [Math.max(left, r.left), Math.min(right, r.right)];
        [top, bottom] = [Math.max(top, r.top), Math.min(bottom, r.bottom)]; }
    return { left, right, top, bottom }; };
  const boxes = new Map(things.map(e => [e, seen(e)]));
  things.forEach((a, i) => { for (const b of things.slice(i + 1)) {
    if (a.contains(b) || b.contains(a)) continue;
    const [p, q] = [boxes.get(a), boxes.get(b)];
    if (Math.min(p.right, q.right) - Math.max(p.left, q.left) > 1.5 &&
        Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top) > 1.5)
      faults.push('overlap: ' + named(a) + ' / ' + named(b));
  } });

  // WCAG 2.1, 1.4.3: contrast of at least 4.5 to 1
  const light = c => { const v = c.match(/[\d.]+/g).slice(0, 3).map(x => x / 255)
    .map(x => x <= 0.04045 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4);
    return 0.2126 * v[0] + 0.7152 * v[1] + 0.0722 * v[2]; };
  const paper = e => { for (; e; e = e.parentElement) { const b = getComputedStyle(e).backgroundColor;
    if (!/, 0\)$|transparent/.test(b)) return b; } return 'rgb(255,255,255)'; };
  const own = e => [...e.childNodes].filter(n => n.nodeType === 3).map(n => n.textContent).join(' ').trim();
  for (const e of all) {
    const text = own(e), style = getComputedStyle(e);
    if (!text || e.tagName === 'CANVAS') continue;
    const [a, b] = [light(style.color), light(paper(e))].sort((x, y) => y - x);
    if ((a + 0.05) / (b + 0.05) < 4.5) faults.push('pale: ' + text.slice(0, 40));
    if (e.tagName !== 'OPTION' && parseFloat(style.fontSize) < 11.5) faults.push('small: ' + text.slice(0, 40));
    if (/\d[.,]\d{4,}/.test(text)) faults.push('too many decimals: ' + text.match(/\S*\d[.,]\d{4,}\S*/)[0]);
  }

  // a control tells what it is for when it is pointed at, and has a name
  for (const e of only('select, input[type=text], button, .noUi-target')) {
    const label = e.labels?.[0] ?? e.closest('.widget-inline-hbox')?.querySelector('label');
    if (!e.title && !label?.title && !label?.querySelector('[title]')) faults.push('not told: ' + named(e));
    if (e.tagName !== 'BUTTON' && !(label?.textContent ?? '').trim()) faults.push('no label: ' + e.outerHTML.slice(0, 80));
  }

  for (let e = panel; e; e = e.parentElement)
    if (e.scrollWidth > e.clientWidth + 1 && /auto|scroll/.test(getComputedStyle(e).overflowX))
      faults.push('scrolls sideways: ' + e.className);
  const page = document.documentElement;
  if (page.scrollWidth > page.clientWidth) faults.push('the page scrolls sideways');
  return faults;
}

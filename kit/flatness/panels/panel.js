// What all panels do in the browser. Runs with `this` inside a panel, once it is shown.
const panel = this.closest('.fk-panel');
if (panel) {
  // a notebook takes arrow keys to move between cells, unless what has the focus says that they are its own; a slider's
  // handle is named for those who cannot see its label
  panel.addEventListener('focusin', event => { const at = event.target; at.dataset.lmSuppressShortcuts = 'true';
    if (at.classList.contains('noUi-handle'))
      at.setAttribute('aria-label', at.closest('.widget-inline-hbox').querySelector('label').textContent); });
  // what is being typed stays until it is entered, whatever the kernel writes there meanwhile; a reading is of its station
  const value = Object.getOwnPropertyDescriptor(HTMLInputElement.prototype, 'value');
  panel.addEventListener('input', event => { const field = event.target;
    if (!field.matches('input[type=text]') || field.closest('.fk-reading') || Object.hasOwn(field, 'value')) return;
    let late;
    Object.defineProperty(field, 'value', {configurable: true, get: () => value.get.call(field), set: text => late = text});
    const end = event => { delete field.value; for (const name of ['change', 'blur']) field.removeEventListener(name, end, true);
      if (event.type === 'blur' && late !== undefined) field.value = late; };  // left as it was before
    for (const name of ['change', 'blur']) field.addEventListener(name, end, true); }, true);
  // the notebook may move its cells while it shows the panel
  for (const late of [300, 1500]) setTimeout(() => panel.scrollIntoView(), late);
}

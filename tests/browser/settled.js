// Whether nothing of a panel moves any more: a notebook lays itself out some time after its window has another size.
panel => new Promise(done => {
  let last = '', same = 0;
  const end = performance.now() + 60000;
  const look = () => {
    const boxes = [...panel.querySelectorAll('*')].map(e => e.getBoundingClientRect());
    const now = JSON.stringify([innerWidth, boxes.map(r => [r.x, r.width, r.height])]);
    same = now === last ? same + 1 : 0;
    last = now;
    if (same >= 4 || performance.now() > end) done(same >= 4);
    else setTimeout(() => requestAnimationFrame(look), 30);
  };
  look();
})

// Says so when what is shown is no longer kept up to date: the connection has broken, or a run
// that goes on has told nothing for some seconds.
(() => {
  const patience = 6000; // milliseconds
  const now = document.querySelector('.now[sse-connect]'), told = document.querySelector('.stale');
  if (!now || !told) return;
  let last = Date.now(), broken = false;
  const clock = t => new Date(t).toTimeString().slice(0, 8);
  const show = () => {
    const old = broken || Date.now() - last > patience && now.querySelector('.goes-on') !== null;
    if (old === !told.hidden) return;
    now.classList.toggle('old', old);
    told.textContent = old ? 'Not connected. What is shown is of ' + clock(last) + ' and may not be so any more.' : '';
    told.hidden = !old;
  };
  document.body.addEventListener('htmx:sseMessage', () => { last = Date.now(); broken = false; show(); });
  document.body.addEventListener('htmx:sseOpen', () => { last = Date.now(); broken = false; show(); });
  document.body.addEventListener('htmx:sseError', () => { broken = true; show(); });
  setInterval(show, 1000);
})();

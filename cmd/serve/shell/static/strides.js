// What the form tells at once when there is a script; without one it tells after the next button.
const form = document.getElementById('strides');
const told = document.getElementById('picked');
const boxes = [...form.querySelectorAll('input[name=ride]')];
const before = boxes.map(b => b.defaultChecked);

function count() {
  let n = Number(told.dataset.rides);
  boxes.forEach((b, i) => { n += b.checked - before[i]; });
  const changed = boxes.some((b, i) => b.checked !== before[i]);
  if (!changed) { told.textContent = said; return; }
  told.textContent = n === 0 ? 'No ride is picked.' : n === 1 ? '1 ride is picked.' : `${n} rides are picked.`;
}
const said = told.textContent;
told.setAttribute('aria-live', 'polite');
form.addEventListener('change', e => { if (e.target.name === 'ride') count(); });
// Coming back to the page, a browser may have put the boxes as they were left.
addEventListener('pageshow', count);

// A download leaves the page as it is, so it is said that it is coming.
form.addEventListener('submit', e => {
  const what = e.submitter?.value;
  const making = document.getElementById('making');
  if (what === 'table' || what === 'provenance') {
    const any = Number(told.dataset.rides) + boxes.reduce((n, b, i) => n + (b.checked - before[i]), 0) > 0;
    making.textContent = any ? 'It is being made; the download begins by itself.' : '';
  }
});

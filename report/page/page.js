'use strict';
(() => {
  const el = id => document.getElementById(id);
  const D = JSON.parse(el('ride').textContent);
  const plan = D.x ? el('plan') : null, chart = el('chart');
  const n = D.t.length;
  if (!n || !chart) return;
  const GAITS = ['halt', 'walk', 'trot', 'canter'];
  const planHere = el('plan-here'), chartHere = el('chart-here'), planPick = el('plan-pick'), chartPick = el('chart-pick');
  let now = -1, picked = null;

  // The first moment at or after a time in ms.
  const momentAt = ms => {
    let a = 0, b = n - 1;
    while (a < b) { const m = (a + b) >> 1; if (D.t[m] * 100 < ms) a = m + 1; else b = m; }
    if (a > 0 && ms - D.t[a - 1] * 100 < D.t[a] * 100 - ms) a--;
    return a;
  };
  const timeOf = i => D.t[i] * 100;
  const clock = ms => { const s = Math.floor(ms / 100) / 10, m = Math.floor(s / 60); return m + ':' + (s - 60 * m).toFixed(1).padStart(4, '0'); };
  // A number with its doubt, in the digits that the doubt leaves.
  const measured = (v, half, most) => {
    if (!(half > 0)) return v.toFixed(most);
    const e = Math.floor(Math.log10(half)), d = Math.min(most, -e + (half / 10 ** e < 2 ? 1 : 0)), k = 10 ** d;
    const cut = x => x.toFixed(Math.max(d, 0));
    return cut(Math.round(v * k) / k) + ' ±' + cut(Math.max(1, Math.ceil(half * k - 0.05)) / k);
  };

  const strideAt = ms => D.strides.find(s => ms >= s[0] && ms < s[1]);
  const lineAt = ms => D.lines.findIndex(l => ms >= l.from && ms < l.to);
  const effortAt = ms => D.efforts.findIndex(e => ms >= e.from - 50 && ms <= e.to + 50);

  // What is told of a moment: the first part where and when, then figures.
  const tell = i => {
    const ms = timeOf(i), parts = [clock(ms)];
    const e = effortAt(ms), l = lineAt(ms), s = strideAt(ms);
    if (e >= 0) parts.push((D.efforts[e].outcome === 'refused' || D.efforts[e].outcome === 'ran out' ? D.efforts[e].outcome + ' at ' : 'over ') + D.efforts[e].name);
    else if (l >= 0) parts.push(D.lines[l].name + (s && s[5] > 0 ? ', stride ' + s[5] + ' of ' + D.lines[l].n : ''));
    else { const g = D.gaits.find(g => D.t[i] >= g[0] && D.t[i] < g[1]); if (g) parts.push(GAITS[g[2]]); }
    if (D.v) parts.push(measured(D.v[i], D.h[i], 0) + ' m/min');
    if (s && e < 0) parts.push(s[2] > 0 ? 'stride ' + measured(s[2] / 100, s[3] / 100, D.unit === 'm' ? 2 : 1) + ' ' + D.unit : 'stride ' + ((s[1] - s[0]) / 1000).toFixed(2) + ' s');
    if (D.g && D.g[i] !== undefined && D.g[i] !== null) { const g = D.g[i] / 10; parts.push(Math.abs(g) < 0.05 ? 'level' : (g > 0 ? 'up ' : 'down ') + Math.abs(g).toFixed(1) + ' %'); }
    return parts;
  };

  const sliders = [plan, chart].filter(Boolean);
  const mark = (row, on) => { if (row) { if (on) row.setAttribute('aria-current', 'true'); else row.removeAttribute('aria-current'); } };
  let marked = [];
  // Each card's strip: where a moment is on it, and which moment a place on it is.
  const strips = D.lines.filter(l => l.card && l.k && el(l.card)).map(l => {
    const card = el(l.card), svg = card.querySelector('.ridden'), line = svg.querySelector('.here'), k = l.k;
    const between = (x, a, b) => {
      if (x <= k[0][a]) return k[0][b];
      for (let i = 1; i < k.length; i++) if (x <= k[i][a]) return k[i - 1][b] + (x - k[i - 1][a]) / Math.max(1, k[i][a] - k[i - 1][a]) * (k[i][b] - k[i - 1][b]);
      return k[k.length - 1][b];
    };
    const move = ev => {
      if (ev.pointerType !== 'mouse' && ev.type === 'pointermove' && !ev.buttons) return;
      const r = svg.getBoundingClientRect();
      pick(l); show(momentAt(between((ev.clientX - r.left) / r.width * 1e5, 1, 0)));
    };
    svg.addEventListener('pointerdown', move);
    svg.addEventListener('pointermove', move);
    card.querySelector('summary').addEventListener('focus', () => { pick(l); show(momentAt(l.from), true); });
    return {here: ms => {
      const on = ms >= l.from && ms <= l.to;
      card.classList.toggle('now', on);
      line.style.visibility = on ? 'visible' : 'hidden';
      if (on) { const c = between(ms, 0, 1) / 1000 + '%'; line.setAttribute('x1', c); line.setAttribute('x2', c); }
    }};
  });
  const show = (i, aloud) => {
    i = Math.max(0, Math.min(n - 1, i));
    now = i;
    const ms = timeOf(i), parts = tell(i);
    document.body.classList.add('on');
    el('now').hidden = false;
    if (planHere && D.x) { planHere.setAttribute('x', D.x[i] / 1000 + '%'); planHere.setAttribute('y', D.y[i] / 1000 + '%'); }
    const c = D.c[i] / 1000 + '%';
    chartHere.setAttribute('x1', c); chartHere.setAttribute('x2', c);
    const said = el('said');
    said.replaceChildren(...parts.map((p, k) => { const s = document.createElement(k < 2 ? 'b' : 'span'); s.textContent = p; return s; }));
    for (const s of sliders) { s.setAttribute('aria-valuenow', i); s.setAttribute('aria-valuetext', parts.join(', ')); }
    if (aloud) el('aloud').textContent = parts.join(', ');
    marked.forEach(r => mark(r, false));
    const l = lineAt(ms), e = effortAt(ms);
    marked = [l >= 0 && D.lines[l].row ? el(D.lines[l].row) : null, e >= 0 ? el(D.efforts[e].row) : null].filter(Boolean);
    marked.forEach(r => mark(r, true));
    strips.forEach(s => s.here(ms));
    // A chart that is wider than the screen follows.
    if (chart.scrollWidth > chart.clientWidth + 4) {
      const x = D.c[i] / 1e5 * chart.firstElementChild.clientWidth;
      if (x < chart.scrollLeft + 20 || x > chart.scrollLeft + chart.clientWidth - 20) chart.scrollLeft = x - chart.clientWidth / 2;
    }
  };

  // A stretch of the ride, picked out in the plan and the chart.
  const pick = span => {
    picked = span;
    if (!span) { chartPick.setAttribute('width', '0%'); if (planPick) planPick.setAttribute('d', ''); return; }
    const a = momentAt(span.from), b = momentAt(span.to);
    chartPick.setAttribute('x', D.c[a] / 1000 + '%');
    chartPick.setAttribute('width', Math.max(0.3, (D.c[b] - D.c[a]) / 1000) + '%');
    if (planPick && D.x) {
      const box = planPick.ownerSVGElement.viewBox.baseVal;
      let d = '';
      for (let i = a; i <= b; i++) d += (d ? 'L' : 'M') + (D.x[i] / 1e5 * box.width).toFixed(0) + ' ' + (D.y[i] / 1e5 * box.height).toFixed(0);
      planPick.setAttribute('d', d);
    }
  };

  // Stride by stride where strides are known, else by half seconds.
  const step = way => {
    if (now < 0) { first(); return; }
    const ms = timeOf(now);
    let to = ms + way * 500;
    for (const s of D.strides) {
      const mid = (s[0] + s[1]) / 2;
      if (way > 0 && mid > ms + 100) { if (mid - ms < 1500) to = mid; break; }
      if (way < 0 && mid < ms - 100 && ms - mid < 1500) to = mid;
    }
    let i = momentAt(to);
    if (i === now) i += way;
    show(i);
  };
  const leap = way => {
    const ms = timeOf(Math.max(now, 0));
    const list = way > 0 ? D.efforts : [...D.efforts].reverse();
    const e = list.find(e => way > 0 ? e.from > ms + 150 : e.from < ms - 150);
    show(e ? momentAt(e.from) : way > 0 ? n - 1 : 0);
  };
  const first = () => show(D.efforts.length ? momentAt(D.efforts[0].from) : 0);

  const keys = ev => {
    const k = ev.key;
    if (ev.ctrlKey || ev.metaKey || ev.altKey) return;
    if (k === 'ArrowRight' || k === 'ArrowUp') step(1);
    else if (k === 'ArrowLeft' || k === 'ArrowDown') step(-1);
    else if (k === 'PageUp') leap(1);
    else if (k === 'PageDown') leap(-1);
    else if (k === 'Home') show(0);
    else if (k === 'End') show(n - 1);
    else return;
    ev.preventDefault();
    pick(null);
  };

  const nearest = ev => {
    const r = plan.getBoundingClientRect();
    const x = (ev.clientX - r.left) / r.width, y = (ev.clientY - r.top) / r.height, q = r.height / r.width;
    const d = new Float64Array(n);
    let least = Infinity;
    for (let i = 0; i < n; i++) { const dx = D.x[i] / 1e5 - x, dy = (D.y[i] / 1e5 - y) * q; d[i] = Math.hypot(dx, dy); if (d[i] < least) least = d[i]; }
    // Where the track crosses itself, the way nearest in time goes on.
    let best = -1;
    for (let i = 0; i < n; i++) if (d[i] <= least + 4 / r.width && (best < 0 || (now >= 0 ? Math.abs(i - now) < Math.abs(best - now) : d[i] < d[best]))) best = i;
    return best;
  };
  const along = ev => {
    const r = chart.firstElementChild.getBoundingClientRect();
    const c = (ev.clientX - r.left) / r.width * 1e5;
    let best = 0;
    for (let i = 1; i < n; i++) if (Math.abs(D.c[i] - c) < Math.abs(D.c[best] - c)) best = i;
    return best;
  };

  const slider = (box, name, words, find) => {
    box.setAttribute('role', 'slider');
    box.tabIndex = 0;
    box.setAttribute('aria-label', name);
    box.setAttribute('aria-describedby', words);
    box.setAttribute('aria-valuemin', 0);
    box.setAttribute('aria-valuemax', n - 1);
    box.setAttribute('aria-valuenow', 0);
    box.setAttribute('aria-valuetext', 'none yet');
    box.addEventListener('keydown', keys);
    box.addEventListener('focus', () => { if (now < 0) first(); });
    const move = ev => { if (ev.pointerType !== 'mouse' && ev.type === 'pointermove' && !ev.buttons) return; pick(null); show(find(ev)); };
    box.addEventListener('pointerdown', move);
    box.addEventListener('pointermove', move);
  };
  if (plan) slider(plan, 'Moment of the ride, on the plan', 'plan-words', nearest);
  slider(chart, 'Moment of the ride, on the chart', 'chart-words', along);

  const row = (tr, span) => {
    if (!tr || span.to < timeOf(0) || span.from > timeOf(n - 1)) return;
    const name = tr.querySelector('.name'), button = document.createElement('button');
    button.type = 'button';
    button.append(...name.childNodes);
    name.append(button);
    const enter = aloud => { pick(span); show(momentAt(span.to > span.from + 1000 ? (span.from + span.to) / 2 : span.from), aloud); };
    tr.addEventListener('mouseenter', () => enter(false));
    tr.addEventListener('click', () => enter(false));
    button.addEventListener('focus', () => enter(true));
    button.addEventListener('keydown', ev => {
      const way = ev.key === 'ArrowRight' ? 1 : ev.key === 'ArrowLeft' ? -1 : 0;
      if (way) { step(way); el('aloud').textContent = el('said').textContent; ev.preventDefault(); return; }
      const next = ev.key === 'ArrowDown' ? 1 : ev.key === 'ArrowUp' ? -1 : 0;
      if (!next) return;
      const all = [...tr.closest('table').querySelectorAll('th button')];
      const to = all[all.indexOf(button) + next];
      if (to) { to.focus(); ev.preventDefault(); }
    });
  };
  D.lines.forEach(l => { if (l.row) row(el(l.row), l); });
  D.efforts.forEach(e => row(el(e.row), e));
  // An address within the page: a card (#3-4), a stride of it (#3-4.2).
  const go = () => {
    const [id, nth] = decodeURIComponent(location.hash.slice(1)).split('.');
    const l = D.lines.find(l => l.card && l.card === id);
    if (!l || !el(id)) return;
    el(id).open = true;
    el(id).scrollIntoView({block: 'nearest'});
    const s = nth && D.strides.find(s => D.lines[s[4]] === l && s[5] === +nth);
    pick(l); show(momentAt(s ? (s[0] + s[1]) / 2 : l.from));
  };
  addEventListener('hashchange', go);
  document.querySelectorAll('.hint').forEach(h => { h.hidden = false; });
  const over = el('over');
  if (over && matchMedia('(min-width:62rem)').matches) over.open = true;
  el('back').addEventListener('click', () => step(-1));
  el('on').addEventListener('click', () => step(1));
  go();
})();

// The drawing: the plan to scale as SVG. The figures and the tracks in it are the server's; this only lays them down.
// Forward is up. Lines keep their width and letters their size whatever the zoom.

import {bearing, along} from './model.js';
import {things, wordsOf, keyOf} from './things.js';
import {shortWords} from './words.js';
import {number, told, units} from './units.js';

const ns = 'http://www.w3.org/2000/svg';
const hitPx = 22; // half of what a thumb needs

// A layer keeps its nodes by key, so that a drag changes a few attributes and nothing is made anew.
function createLayer(parent, name) {
  const g = document.createElementNS(ns, 'g');
  g.setAttribute('class', name);
  parent.append(g);
  const have = new Map();
  let seen = new Set();
  return {
    g,
    begin() { seen = new Set(); },
    put(key, tag, attrs, text, under = g) {
      seen.add(key);
      let n = have.get(key);
      if (!n) {
        n = document.createElementNS(ns, tag);
        n.was = {};
        have.set(key, n);
        under.append(n);
      }
      for (const [k, v] of Object.entries(attrs)) {
        const s = String(v);
        if (n.was[k] !== s) { n.setAttribute(k, s); n.was[k] = s; }
      }
      if (text !== undefined && n.said !== text) { n.textContent = text; n.said = text; }
      return n;
    },
    end() {
      for (const [key, n] of have) if (!seen.has(key)) { n.remove(); have.delete(key); }
    },
  };
}

const f = v => String(Math.round(v * 1000) / 1000);
const join = ps => ps.map(p => f(p[0]) + ',' + f(-p[1])).join(' ');

export function createDrawing(svg) {
  const layers = {};
  for (const name of ['ground', 'tracks', 'obstacles', 'marks', 'labels', 'handles']) layers[name] = createLayer(svg, name);
  let box = {x: -5, y: -45, w: 70, h: 50}, fitted = true, scale = 5, lastView = null;
  const drawnOf = {}; // what a layer was drawn of
  const preferred = new Map(); // where a label lay the last time

  function size() { return {w: svg.clientWidth || 300, h: svg.clientHeight || 240}; }

  // setBox shows a part of the plan; w and h grow to the shape of the window.
  function setBox(b) {
    const s = size();
    scale = Math.min(s.w / b.w, s.h / b.h);
    const w = s.w / scale, h = s.h / scale;
    box = {x: b.x + (b.w - w) / 2, y: b.y + (b.h - h) / 2, w, h};
    svg.setAttribute('viewBox', [box.x, box.y, box.w, box.h].map(f).join(' '));
    svg.classList.toggle('zoomed', !fitted);
    if (lastView) render(lastView);
  }

  function bounds(plan, sketch) {
    const ps = [...(plan.arena ?? []), ...plan.obstacles.map(o => o.at), ...(plan.start ?? []), ...(plan.finish ?? [])];
    if (plan.gate) ps.push(plan.gate);
    if (!plan.arena) for (const o of plan.obstacles) ps.push([o.at[0] - 8, o.at[1] - 8], [o.at[0] + 8, o.at[1] + 8]);
    if (!ps.length) ps.push([0, 0], [60, 40]);
    for (const l of sketch?.track ?? []) for (const p of l.path) ps.push(p);
    const xs = ps.map(p => p[0]), ys = ps.map(p => p[1]);
    const [x0, x1, y0, y1] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
    const edge = Math.max(2, 0.03 * Math.max(x1 - x0, y1 - y0));
    return {x: x0 - edge, y: -y1 - edge, w: x1 - x0 + 2 * edge, h: y1 - y0 + 2 * edge};
  }

  // shapeOf is how high the window is for ten of its width, as the server knew it before: see shapeOf there.
  const shapeOf = b => Math.min(16, Math.max(5, Math.round(10 * b.h / b.w)));

  function fit(view = lastView) {
    fitted = true;
    const b = bounds(view.plan, null);
    svg.dataset.shape = shapeOf(b);
    lastView = view;
    setBox(b);
  }

  // zoom by a factor about a place of the window; pan by pixels.
  function zoom(factor, at = null) {
    const r = svg.getBoundingClientRect();
    const [px, py] = at ? [at.x - r.left, at.y - r.top] : [r.width / 2, r.height / 2];
    const k = Math.max(1.2, Math.min(120, scale * factor)) / scale; // pixels a metre
    const x = box.x + px / scale, y = box.y + py / scale;
    fitted = false;
    setBox({x: x - px / (scale * k), y: y - py / (scale * k), w: box.w / k, h: box.h / k});
  }
  function pan(dx, dy) {
    fitted = false;
    setBox({...box, x: box.x - dx / scale, y: box.y - dy / scale});
  }

  function toPlan(clientX, clientY) {
    const r = svg.getBoundingClientRect();
    return [box.x + (clientX - r.left) / scale, -(box.y + (clientY - r.top) / scale)];
  }
  function toClient([x, y]) {
    const r = svg.getBoundingClientRect();
    return {x: r.left + (x - box.x) * scale, y: r.top + (-y - box.y) * scale};
  }

  // handleAt is where the handle that turns a thing is.
  const handleAt = t => along(t.at, t.facing, (t.obstacle ? (t.obstacle.spread ?? 0) / 2 : 0) + 36 / scale);

  // render lays everything down: view is {plan, sketch, stale, chosen, unit, corners, spots, guide}.
  function render(view) {
    lastView = view;
    const of = {ground: [view.plan.arena, view.sketch, view.unit, view.spots, box, scale], tracks: [view.sketch, view.chosen, view.plan.obstacles.length]};
    // What has not changed is not laid down again: a drag moves one obstacle and, now and then, the tracks.
    const fresh = name => !drawnOf[name] || of[name].some((v, i) => v !== drawnOf[name][i]);
    for (const [name, drawIt] of [['ground', drawGround], ['tracks', drawTracks]]) {
      if (!fresh(name)) continue;
      layers[name].begin();
      drawIt(view);
      layers[name].end();
      drawnOf[name] = of[name];
    }
    const rest = ['obstacles', 'marks', 'labels', 'handles'];
    for (const name of rest) layers[name].begin();
    drawThings(view);
    drawLabels(view);
    for (const name of rest) layers[name].end();
    svg.classList.toggle('stale', view.stale);
  }

  function drawGround({plan, sketch, unit, spots}) {
    const l = layers.ground;
    if (plan.arena) l.put('arena', 'polygon', {class: 'arena', points: join(plan.arena)});
    else l.put('arena', 'rect', {class: 'open', x: f(box.x), y: f(box.y), width: f(box.w), height: f(box.h)});
    const step = {metres: 10, feet: 30 * 0.3048, paces: 12 * 0.914}[unit];
    const ring = plan.arena ?? [[box.x, -box.y], [box.x + box.w, -box.y - box.h]];
    const xs = ring.map(p => p[0]), ys = ring.map(p => p[1]);
    const [x0, x1, y0, y1] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
    let d = '';
    if ((x1 - x0) / step < 200 && (y1 - y0) / step < 200) {
      for (let x = Math.ceil((x0 + 1e-6) / step) * step; x < x1 - 1e-6; x += step) d += `M${f(x)} ${f(-y0)}V${f(-y1)}`;
      for (let y = Math.ceil((y0 + 1e-6) / step) * step; y < y1 - 1e-6; y += step) d += `M${f(x0)} ${f(-y)}H${f(x1)}`;
    }
    l.put('grid', 'path', {class: 'grid', d: d || 'M0 0'});
    const g = sketch?.ground;
    (g?.contours ?? []).forEach((c, i) => {
      l.put('c' + i, 'polyline', {class: 'contour' + (c.measured ? '' : ' beyond'), points: join(c.path)});
      const m = c.path[Math.floor(c.path.length / 2)];
      l.put('ct' + i, 'text', {class: 'height', x: f(m[0]), y: f(-m[1]), 'font-size': f(10.5 / scale), dy: '-0.2em'}, number(c.height_m / units[unit === 'feet' ? 'feet' : 'metres'].m, g.step_m < 0.1 ? 2 : 1));
    });
    (g?.arrows ?? []).forEach((a, i) => {
      if (!spots || a.grade < 0.005) return; // where the ground is worked on; contours tell it else
      const len = Math.min(2.2, 0.6 + 40 * a.grade) * 9 / scale; // longer where it is steeper
      const tip = along(a.at, a.falls_deg, len), tail = along(a.at, a.falls_deg, -len);
      const [p, q] = [150, 210].map(deg => along(tip, a.falls_deg + deg, 6 / scale));
      l.put('a' + i, 'polyline', {class: 'falls', points: join([tail, tip]) + ' ' + join([p, tip, q])});
    });
  }

  function drawTracks({plan, sketch, chosen}) {
    const l = layers.tracks;
    const near = new Set((sketch?.lines ?? []).map((x, i) => keyOf(x.from) === chosen || keyOf(x.to) === chosen ? i : -1));
    (sketch?.lines ?? []).forEach((x, i) => {
      for (const b of x.tracks) l.put(`b${i}/${b.strides}`, 'polyline', {class: 'other' + (near.has(i) ? ' near' : ''), points: join(b.path)});
      if (x.turn && near.has(i)) {
        l.put(`cut${i}`, 'polyline', {class: 'other near', points: join(x.turn.cut.path)});
        if (x.turn.longer_m.value >= 1.5) l.put(`wide${i}`, 'polyline', {class: 'other near', points: join(x.turn.wide.path)});
      }
    });
    (sketch?.track ?? []).forEach((t, i) => {
      l.put('t' + i, 'polyline', {class: 'track' + (t.outside_m > 0.1 || t.through.length ? ' bad' : '') + (t.from === 'start' || t.to === 'finish' ? ' end' : ''), points: join(t.path)});
    });
    if (!plan.obstacles.length) l.put('none', 'path', {class: 'track', d: 'M0 0'});
  }

  function drawThings(view) {
    const {plan, chosen, unit} = view;
    const l = layers.obstacles, marks = layers.marks;
    for (const t of things(plan, view)) {
      const on = t.key === chosen ? ' chosen' : '';
      const place = `translate(${f(t.at[0])} ${f(-t.at[1])})`;
      if (t.quiet && scale < 7) continue;
      const focus = t.quiet ? {class: 'thing quiet ' + t.kind, 'aria-hidden': 'true', transform: place} : {
        class: 'thing ' + t.kind + on, 'data-key': t.key, tabindex: 0, role: 'button', 'aria-label': wordsOf(t, unit), 'aria-pressed': t.key === chosen,
        transform: place + (t.facing !== undefined ? ` rotate(${f(t.facing)})` : ''),
      };
      const layer = t.kind === 'obstacle' ? l : marks;
      const g = layer.put(t.key + (t.quiet ? '?' : ''), 'g', focus);
      const put = (name, tag, attrs, text) => layer.put(t.key + '/' + name + (t.quiet ? '?' : ''), tag, attrs, text, g);
      if (!t.quiet) put('hit', 'circle', {class: 'hit', r: f(hitPx / scale)});
      if (t.kind === 'obstacle') drawObstacle(put, t.obstacle);
      else if (t.kind === 'timing') {
        const half = Math.hypot(t.ends[1][0] - t.ends[0][0], t.ends[1][1] - t.ends[0][1]) / 2;
        put('halo', 'rect', {class: 'halo', x: f(-half - 5 / scale), y: f(-7 / scale), width: f(2 * half + 10 / scale), height: f(14 / scale)});
        put('line', 'path', {class: 'timingline', d: `M${f(-half)} 0H${f(half)}`});
        put('posts', 'path', {class: 'posts', d: `M${f(-half)} ${f(-5 / scale)}V${f(5 / scale)}M${f(half)} ${f(-5 / scale)}V${f(5 / scale)}M0 0V${f(-9 / scale)}`});
      } else if (t.kind === 'place') {
        put('halo', 'circle', {class: 'halo', r: f(13 / scale)});
        const r = 7 / scale;
        put('mark', 'path', {class: 'post', d: t.key === 'gate' ? `M${f(-r)} ${f(-r)}H${f(r)}V${f(r)}H${f(-r)}Z` : `M0 ${f(-1.2 * r)}L${f(r)} ${f(-0.1 * r)}V${f(r)}H${f(-r)}V${f(-0.1 * r)}Z`});
      } else if (t.kind === 'spot') {
        put('halo', 'circle', {class: 'halo', r: f(11 / scale)});
        put('mark', 'path', {class: 'cross', d: `M${f(-5 / scale)} 0H${f(5 / scale)}M0 ${f(-5 / scale)}V${f(5 / scale)}`});
      } else {
        put('halo', 'circle', {class: 'halo', r: f(13 / scale)});
        put('mark', 'rect', {class: 'corner', x: f(-6 / scale), y: f(-6 / scale), width: f(12 / scale), height: f(12 / scale)});
      }
      if (on && t.facing !== undefined) {
        const h = handleAt(t);
        const edge = along(t.at, t.facing, t.obstacle ? (t.obstacle.spread ?? 0) / 2 : 0);
        layers.handles.put('stem', 'polyline', {class: 'stem', points: join([edge, h])});
        layers.handles.put('hit', 'circle', {class: 'hit turnhit', cx: f(h[0]), cy: f(-h[1]), r: f(hitPx / scale)});
        layers.handles.put('knob', 'circle', {class: 'knob', cx: f(h[0]), cy: f(-h[1]), r: f(9 / scale)});
      }
    }
    for (const [i, g] of (view.guide ?? []).entries()) layers.handles.put('guide' + i, 'polyline', {class: 'guide', points: join(g)});
  }

  // An obstacle in its own frame, metres, jumped upwards: rails to scale, an arrow in front.
  function drawObstacle(put, o) {
    const half = Math.max(o.width, 0.2) / 2, least = 2.5 / scale;
    const s = Math.max(o.spread ?? 0, least), y = s / 2;
    put('halo', 'rect', {class: 'halo', x: f(-half - 6 / scale), y: f(-y - 7 / scale), width: f(2 * half + 12 / scale), height: f(s + 14 / scale)});
    const body = {vertical: 'rails', oxer: 'rails', 'triple bar': 'rails', wall: 'solid', cross: 'rails', water: 'watery', ditch: 'watery', pole: 'lying'}[o.kind] ?? 'rails';
    put('body', 'rect', {class: body, x: f(-half), y: f(-y), width: f(2 * half), height: f(s)});
    let d = '';
    if (o.kind === 'triple bar') d = `M${f(-half)} ${f(-y / 3)}H${f(half)}M${f(-half)} ${f(y / 3)}H${f(half)}`;
    if (o.kind === 'cross') d = `M${f(-half)} ${f(-4 / scale)}L${f(half)} ${f(4 / scale)}M${f(-half)} ${f(4 / scale)}L${f(half)} ${f(-4 / scale)}`;
    put('more', 'path', {class: 'railline', d: d || 'M0 0'});
    const tip = -y - 11 / scale;
    put('way', 'path', {class: 'facing', d: `M0 ${f(-y)}V${f(tip)}M${f(-4 / scale)} ${f(tip + 5 / scale)}L0 ${f(tip)}L${f(4 / scale)} ${f(tip + 5 / scale)}`});
  }

  // Labels: numbers beside the obstacles, then lines' words where they find room; those of the chosen obstacle first.
  function drawLabels(view) {
    const {plan, sketch, chosen, unit} = view;
    const l = layers.labels;
    const taken = [];
    const place = (x, y, w, h) => ({x0: x - w / 2, x1: x + w / 2, y0: y - h / 2, y1: y + h / 2});
    const free = b => taken.every(t => b.x1 <= t.x0 || b.x0 >= t.x1 || b.y1 <= t.y0 || b.y0 >= t.y1) &&
      b.x0 >= box.x && b.x1 <= box.x + box.w && b.y0 >= box.y && b.y1 <= box.y + box.h;
    const wide = (text, px) => (text.length * px * 0.56 + 6) / scale;
    for (const o of plan.obstacles) taken.push(place(o.at[0], -o.at[1], 14 / scale, 14 / scale));
    for (const o of plan.obstacles) {
      const text = o.id, w = wide(text, 14), h = 16 / scale;
      const half = o.width / 2 + 4 / scale + Math.max(w, h) / 2;
      let at = null;
      for (const [deg, d] of [[90, half], [-90, half], [180, 16 / scale], [135, half], [-135, half]]) {
        const p = along(o.at, o.facing + deg, d);
        const b = place(p[0], -p[1], w, h);
        if (!at || free(b)) { at = {p, b}; if (free(b)) break; }
      }
      taken.push(at.b);
      l.put('n' + o.id, 'text', {class: 'id' + (keyOf(o.id) === chosen ? ' chosen' : ''), x: f(at.p[0]), y: f(-at.p[1]), 'font-size': f(14 / scale), dy: '0.35em'}, text);
    }
    for (const t of things(plan, view)) {
      if (t.kind === 'obstacle' || t.kind === 'corner' || t.quiet) continue;
      const text = t.kind === 'spot' ? told(t.z, unit, 2) : t.key;
      const w = wide(text, 11.5), h = 13 / scale;
      const tries = t.kind === 'timing' ? [[t.facing + 180, 11 / scale], [t.facing, 17 / scale]] : [[180, 16 / scale], [0, 16 / scale], [90, w / 2 + 10 / scale], [270, w / 2 + 10 / scale]];
      const at = tries.map(([deg, d]) => along(t.at, deg, d)).find(p => free(place(p[0], -p[1], w, h))) ?? along(t.at, tries[0][0], tries[0][1]);
      taken.push(place(at[0], -at[1], w, h));
      l.put('m' + t.key, 'text', {class: 'mark', x: f(at[0]), y: f(-at[1]), 'font-size': f(11.5 / scale), dy: '0.35em'}, text);
    }
    const lines = (sketch?.lines ?? []).map((x, i) => ({x, i, near: keyOf(x.from) === chosen || keyOf(x.to) === chosen}));
    const offset = sketch?.course.from_start ? 1 : 0;
    const noted = new Set((sketch?.notes ?? []).map(n => n.line));
    lines.sort((a, b) => b.near - a.near || b.x.counted - a.x.counted || a.i - b.i);
    for (const {x, i, near} of lines) {
      const path = sketch.track[i + offset]?.path;
      if (!path) continue;
      const whole = shortWords(x, unit) + (noted.has(i) ? ' !' : ''), px = near ? 13 : 12, h = (px + 3) / scale;
      const shares = [0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8];
      const tries = [];
      // Beside the way, then farther off; on a small drawing without the unit, which is told below it.
      for (const sides of [[1, -1, 0], [2, -2]]) for (const short of ['', 'short']) for (const side of sides) for (const s of shares) tries.push(side + '/' + s + '/' + short);
      const before = preferred.get(x.from + '\n' + x.to);
      if (before) tries.unshift(before);
      let at = null, text = whole, w = wide(text, px);
      for (const t of tries) {
        const [side, share, short] = t.split('/');
        const said = short ? whole.replace(/ (m|ft|paces)\b/, '') : whole, room = wide(said, px);
        const {p, deg} = alongPath(path, Number(share));
        const far = Math.abs(side) > 1 ? 13 / scale : 0;
        const reach = Math.sign(side) * (Math.abs(Math.cos(deg * Math.PI / 180)) * room / 2 + Math.abs(Math.sin(deg * Math.PI / 180)) * h / 2 + 3 / scale + far);
        const q = along(p, deg + 90, reach);
        const b = place(q[0], -q[1], room, h);
        if (free(b)) { at = {q, b}; text = said; w = room; preferred.set(x.from + '\n' + x.to, t); break; }
      }
      if (!at && near) { const {p} = alongPath(path, 0.5); at = {q: p, b: place(p[0], -p[1], w, h)}; }
      if (!at) continue;
      taken.push(at.b);
      l.put('l' + i, 'text', {class: 'line' + (near ? ' near' : '') + (noted.has(i) ? ' noted' : ''), x: f(at.q[0]), y: f(-at.q[1]), 'font-size': f(px / scale), dy: '0.35em'}, text);
      if (near) for (const b of x.tracks) {
        const t = 'on ' + b.strides, mid = alongPath(b.path, 0.5).p, bb = place(mid[0], -mid[1], wide(t, 11), 13 / scale);
        if (!free(bb)) continue;
        taken.push(bb);
        l.put(`on${i}/${b.strides}`, 'text', {class: 'on', x: f(mid[0]), y: f(-mid[1]), 'font-size': f(11 / scale), dy: '0.35em'}, t);
      }
    }
  }

  new ResizeObserver(() => { if (!lastView) return; if (fitted) fit(); else setBox(box); }).observe(svg);

  return {
    render, fit, zoom, pan, toPlan, toClient, handleAt,
    get scale() { return scale; },
    get fitted() { return fitted; },
    node: key => svg.querySelector(`[data-key="${CSS.escape(key)}"]`),
    middle: () => [box.x + box.w / 2, -(box.y + box.h / 2)],
    bounds,
    // scaled sets the drawing's own size so that it prints 1 to a round number; it gives that number.
    scaled(view, widthMM, heightMM) {
      const b = bounds(view.plan, view.sketch);
      const least = Math.max(b.w / widthMM, b.h / heightMM) * 1000;
      const to = [50, 75, 100, 125, 150, 200, 250, 300, 400, 500, 600, 750, 1000, 1250, 1500, 2000, 2500, 5000, 10000, 25000, 100000].find(n => n >= least) ?? Math.ceil(least / 1e5) * 1e5;
      const w = b.w * 1000 / to, h = b.h * 1000 / to;
      scale = w / b.w * 96 / 25.4;
      box = b;
      svg.setAttribute('viewBox', [b.x, b.y, b.w, b.h].map(f).join(' '));
      render(view);
      return {to, w, h};
    },
  };
}

// alongPath is the place at a share of a path's length, and the bearing there.
function alongPath(path, share) {
  let total = 0;
  for (let i = 1; i < path.length; i++) total += Math.hypot(path[i][0] - path[i - 1][0], path[i][1] - path[i - 1][1]);
  let left = total * share;
  for (let i = 1; i < path.length; i++) {
    const d = Math.hypot(path[i][0] - path[i - 1][0], path[i][1] - path[i - 1][1]);
    if (left <= d && d > 0) {
      const k = left / d;
      return {p: [path[i - 1][0] + k * (path[i][0] - path[i - 1][0]), path[i - 1][1] + k * (path[i][1] - path[i - 1][1])], deg: bearing(path[i - 1], path[i])};
    }
    left -= d;
  }
  return {p: path[path.length - 1], deg: 0};
}

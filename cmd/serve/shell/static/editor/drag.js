// Pointers and keys on the drawing. A thing is taken by what lies nearest under the finger; the ground pans where the plan is
// zoomed in, and scrolls the page where it is not. Two fingers zoom.

import {things, thing, moved, placed, turned} from './things.js';
import {bearing, find, wrap} from './model.js';
import {snapMove, snapTurn} from './snap.js';

const slopPx = {mouse: 3, pen: 5, touch: 6};

// handle makes the drawing answer. app has plan, sketch, chosen, view(), choose(key), change(plan, what, mergeKey),
// settle(), snapping, remove(key), guide(lines, hits).
export function handle(svg, drawing, app) {
  const down = new Map();
  let grip = null, pinch = null, frame = 0, serial = 0, wheelAt = 0;

  // under is what lies nearest to a point of the window, within the reach of that pointer.
  function under(x, y, type) {
    const reach = type === 'mouse' ? 16 : 24;
    const chosen = app.chosen && thing(app.plan, app.chosen);
    if (chosen && chosen.facing !== undefined) {
      const h = drawing.toClient(drawing.handleAt(chosen));
      if (Math.hypot(h.x - x, h.y - y) <= reach) return {key: chosen.key, turn: true};
    }
    let best = null;
    const at = drawing.toPlan(x, y);
    for (const t of things(app.plan, app.view())) {
      if (t.quiet) continue;
      const c = drawing.toClient(t.at);
      let d = Math.hypot(c.x - x, c.y - y);
      if (t.obstacle) { // anywhere on its face counts as near
        const a = t.facing * Math.PI / 180, dx = at[0] - t.at[0], dy = at[1] - t.at[1];
        const across = Math.max(0, Math.abs(dx * Math.cos(a) - dy * Math.sin(a)) - t.obstacle.width / 2);
        const ahead = Math.max(0, Math.abs(dx * Math.sin(a) + dy * Math.cos(a)) - (t.obstacle.spread ?? 0) / 2);
        d = Math.min(d, Math.hypot(across, ahead) * drawing.scale + 4);
      }
      if (d <= reach && (!best || d < best.d)) best = {key: t.key, d};
    }
    return best;
  }

  svg.addEventListener('touchstart', e => {
    const t = e.changedTouches[0];
    if (e.touches.length > 1 || under(t.clientX, t.clientY, 'touch') || !drawing.fitted) e.preventDefault();
  }, {passive: false});

  svg.addEventListener('pointerdown', e => {
    if (e.pointerType === 'mouse' && e.button !== 0) return;
    down.set(e.pointerId, {x: e.clientX, y: e.clientY});
    if (down.size === 2) {
      if (grip?.key && !grip.moving) app.choose(grip.was); // the first finger meant no choice
      letGo();
      const [a, b] = [...down.values()];
      pinch = {d: Math.hypot(a.x - b.x, a.y - b.y), x: (a.x + b.x) / 2, y: (a.y + b.y) / 2};
      for (const id of down.keys()) svg.setPointerCapture(id);
      return;
    }
    if (down.size > 2) return;
    const hit = under(e.clientX, e.clientY, e.pointerType);
    if (hit) {
      e.preventDefault();
      svg.setPointerCapture(e.pointerId);
      const was = app.chosen;
      app.choose(hit.key);
      drawing.node(hit.key)?.focus({preventScroll: true, focusVisible: false});
      const t = thing(app.plan, hit.key);
      const p = drawing.toPlan(e.clientX, e.clientY);
      grip = {id: e.pointerId, key: hit.key, was, turn: Boolean(hit.turn), from: {x: e.clientX, y: e.clientY}, offset: [t.at[0] - p[0], t.at[1] - p[1]], moving: false, serial: ++serial, type: e.pointerType};
    } else if (e.pointerType === 'mouse' || !drawing.fitted) {
      svg.setPointerCapture(e.pointerId);
      grip = {id: e.pointerId, pan: true, from: {x: e.clientX, y: e.clientY}, last: {x: e.clientX, y: e.clientY}, moving: false, type: e.pointerType};
    } else {
      grip = {id: e.pointerId, tap: true, from: {x: e.clientX, y: e.clientY}, type: e.pointerType};
    }
  });

  svg.addEventListener('pointermove', e => {
    const p = down.get(e.pointerId);
    if (!p) return;
    p.x = e.clientX; p.y = e.clientY; p.alt = e.altKey; p.shift = e.shiftKey;
    if (!frame) frame = requestAnimationFrame(step);
  });

  function step() {
    frame = 0;
    if (pinch && down.size >= 2) {
      const [a, b] = [...down.values()];
      const d = Math.hypot(a.x - b.x, a.y - b.y), x = (a.x + b.x) / 2, y = (a.y + b.y) / 2;
      drawing.pan(x - pinch.x, y - pinch.y);
      if (pinch.d > 0 && d > 0) drawing.zoom(d / pinch.d, {x, y});
      pinch = {d, x, y};
      return;
    }
    if (!grip || grip.tap) return;
    const p = down.get(grip.id);
    if (!p) return;
    if (!grip.moving) {
      if (Math.hypot(p.x - grip.from.x, p.y - grip.from.y) < (slopPx[grip.type] ?? 4)) return;
      grip.moving = true;
      svg.classList.add('held');
    }
    if (grip.pan) {
      drawing.pan(p.x - grip.last.x, p.y - grip.last.y);
      grip.last = {x: p.x, y: p.y};
      return;
    }
    const t = thing(app.plan, grip.key);
    if (!t) { grip = null; return; }
    const at = drawing.toPlan(p.x, p.y);
    const key = (grip.turn ? 'turn' : 'drag') + grip.serial;
    if (grip.turn) turnTo(t, wrap(bearing(t.at, at)), p, key);
    else moveTo(t, [at[0] + grip.offset[0], at[1] + grip.offset[1]], p, key);
  }

  const near = id => (app.sketch?.lines ?? []).filter(l => (l.from === id) !== (l.to === id))
    .map(l => ({other: find(app.plan, l.from === id ? l.to : l.from), fits: l.fits, after: l.from === id})).filter(n => n.other);

  function moveTo(t, want, p, key) {
    if (t.obstacle && app.snapping && !p.alt) {
      const s = snapMove(t.obstacle, want, near(t.obstacle.id), Math.min(0.6, Math.max(0.1, 8 / drawing.scale)));
      if (s.hits.length) {
        app.change(placed(app.plan, t.key, s.at), 'Move ' + t.obstacle.id, key);
        app.guide(s.hits.map(h => [find(app.plan, h.by).at, s.at]), s.hits);
        return;
      }
    }
    app.guide([], []);
    app.change(moved(app.plan, t.key, want[0], want[1]), 'Move', key);
  }

  function turnTo(t, deg, p, key) {
    let to = p.shift ? Math.round(deg / 15) * 15 : Math.round(deg);
    if (t.obstacle && app.snapping && !p.alt && !p.shift) to = snapTurn(t.obstacle, deg, near(t.obstacle.id), 3).deg;
    app.change(turned(app.plan, t.key, to), 'Turn', key);
  }

  function letGo() {
    if (grip?.moving) { svg.classList.remove('held'); app.settle(); }
    app.guide([], []);
    grip = null;
  }

  function up(e) {
    if (!down.has(e.pointerId)) return;
    if (frame && e.type === 'pointerup') { cancelAnimationFrame(frame); step(); }
    down.delete(e.pointerId);
    if (pinch) { if (down.size < 2) pinch = null; return; }
    if (!grip || grip.id !== e.pointerId) return;
    const tapped = !grip.moving && !grip.key && e.type === 'pointerup' && Math.hypot(e.clientX - grip.from.x, e.clientY - grip.from.y) < 6;
    letGo();
    if (tapped) app.choose(null);
  }
  svg.addEventListener('pointerup', up);
  svg.addEventListener('pointercancel', up);

  svg.addEventListener('wheel', e => {
    // The page scrolls with the wheel; with Ctrl, as trackpads send a pinch, the plan zooms.
    if (!e.ctrlKey && !e.metaKey) return;
    e.preventDefault();
    if (performance.now() - wheelAt < 8) return;
    wheelAt = performance.now();
    drawing.zoom(Math.exp(-Math.max(-60, Math.min(60, e.deltaY)) / 200), {x: e.clientX, y: e.clientY});
  }, {passive: false});

  svg.addEventListener('focusin', e => {
    const key = e.target.closest?.('[data-key]')?.getAttribute('data-key');
    if (key && key !== app.chosen && !grip) app.choose(key);
  });

  let keyRun = {key: '', at: 0, n: 0};
  svg.addEventListener('keydown', e => {
    const key = e.target.closest?.('[data-key]')?.getAttribute('data-key');
    const t = key && thing(app.plan, key);
    if (!t || e.ctrlKey || e.metaKey) return;
    const run = kind => {
      const now = performance.now();
      if (keyRun.key !== kind + key || now - keyRun.at > 1500) keyRun = {key: kind + key, n: keyRun.n + 1, at: now};
      keyRun.at = now;
      return `keys${keyRun.n}`;
    };
    const step = e.shiftKey ? 1 : 0.1;
    const by = {ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, step], ArrowDown: [0, -step]}[e.key];
    const turnBy = {'[': -1, ']': 1, '{': -15, '}': 15}[e.key];
    if (by) {
      app.change(moved(app.plan, key, t.at[0] + by[0], t.at[1] + by[1]), 'Move', run('move'));
    } else if (turnBy !== undefined && t.facing !== undefined) {
      app.change(turned(app.plan, key, t.facing + turnBy), 'Turn', run('turn'));
    } else if (e.key === 'Delete' || e.key === 'Backspace') {
      app.remove(key);
    } else if (e.key === 'Escape') {
      app.choose(null);
    } else return;
    e.preventDefault();
  });
}


// The fields, lists and tables beside the drawing. They show the plan and send what people type on; whoever types in a
// field is not disturbed by what comes back meanwhile.

import * as model from './model.js';
import * as unitsOf from './units.js';
import {idOf, keyOf, without} from './things.js';
import * as words from './words.js';

const $ = id => document.getElementById(id);

// element makes one with attributes and children; text is set as text, never as markup.
export function element(tag, attrs = {}, ...children) {
  const e = document.createElement(tag);
  for (const [k, v] of Object.entries(attrs)) {
    if (k === 'on') for (const [type, f] of Object.entries(v)) e.addEventListener(type, f);
    else if (v !== false && v !== null && v !== undefined) e.setAttribute(k, v === true ? '' : v);
  }
  e.append(...children.filter(c => c !== null && c !== undefined));
  return e;
}

// put sets a text only where it differs, so that nothing is laid out anew for nothing.
export function say(node, text) { if (node.textContent !== text) node.textContent = text; }

// same tells whether a list must be made anew; it keeps what it was made of.
function changed(node, what) {
  const s = JSON.stringify(what);
  if (node.madeOf === s) return false;
  node.madeOf = s;
  return true;
}

// createForm fills the page. app has plan, sketch, chosen, unit, choose, change(plan, what, key), settle, remove, said(text).
export function createForm(app) {
  const typed = new Map(); // faults of fields that hold no number, by field
  let session = 0;
  const anyFault = () => typed.size > 0;

  // field ties an input to a number in the plan. get gives the number or null; set gives the plan with another.
  // length says that the unit counts. may be empty: gives null.
  function field(input, {get, set, length = false, empty = false, what, faultOf}) {
    const mine = 'f' + ++session;
    let run = 0;
    input.bound = {mine, fault: faultOf};
    input.addEventListener('focus', () => { run++; });
    input.addEventListener('input', () => {
      const text = input.value.trim();
      const v = text === '' && empty ? null : length ? unitsOf.readLength(text, app.unit) : unitsOf.readNumber(text);
      if (v === null && !(text === '' && empty)) {
        typed.set(mine, text === '' ? 'a number is missing' : `“${text.slice(0, 30)}” is no number`);
        showFaults();
        app.faultTyped();
        return;
      }
      typed.delete(mine);
      app.change(set(v === null ? null : model.tidy(v)), what(), mine + '/' + run);
      showFaults();
    });
    input.addEventListener('blur', () => { app.settle(); if (!typed.has(mine)) show(true); });
    const show = force => {
      if (!force && document.activeElement === input) return;
      if (typed.has(mine) && document.activeElement === input) return;
      typed.delete(mine);
      const v = get();
      const text = v === null || v === undefined ? '' : typeof v !== 'number' ? String(v) : length ? unitsOf.bare(v, app.unit) : String(model.tidy(v));
      if (input.value !== text) input.value = text;
    };
    return show;
  }

  const one = () => app.chosen && idOf(app.chosen) !== null ? model.find(app.plan, idOf(app.chosen)) : null;
  const setOne = values => model.change(app.plan, one().id, values);
  const shows = [];
  const bind = (id, o) => shows.push(field($(id), o));
  const name = part => () => one() ? part + ' of ' + one().id : part;

  bind('f-x', {length: true, get: () => one()?.at[0], set: v => setOne({at: [v, one().at[1]]}), what: name('Place'), faultOf: () => at('.at')});
  bind('f-y', {length: true, get: () => one()?.at[1], set: v => setOne({at: [one().at[0], v]}), what: name('Place'), faultOf: () => null});
  bind('f-facing', {get: () => one()?.facing, set: v => setOne({facing: v === 360 ? 0 : v}), what: name('Facing'), faultOf: () => at('.facing')});
  bind('f-height', {empty: true, get: () => one()?.height, set: v => setOne({height: v}), what: name('Height'), faultOf: () => at('.height')});
  bind('f-spread', {empty: true, get: () => one()?.spread, set: v => setOne({spread: v}), what: name('Spread'), faultOf: () => at('.spread')});
  bind('f-width', {length: true, get: () => one()?.width, set: v => setOne({width: v}), what: name('Face'), faultOf: () => at('.width')});
  bind('speed', {empty: true, get: () => app.plan.speed, set: v => ({...app.plan, speed: v}), what: () => 'Speed', faultOf: () => faultAt('speed')});
  function at(part) { return one() ? faultAt(`obstacles[${app.plan.obstacles.indexOf(one())}]${part}`) : null; }
  function faultAt(path) { return app.faults.find(f => f.field === path) ?? null; }

  // The number of an obstacle: a name that is taken is a fault beside the field.
  let idRun = 0;
  $('f-id').addEventListener('focus', () => { idRun++; });
  $('f-id').addEventListener('input', () => {
    const to = $('f-id').value.trim(), o = one();
    if (!o) return;
    if (to === '' || (to !== o.id && model.find(app.plan, to))) {
      typed.set('f-id', to === '' ? 'a number or name is missing' : `there is an obstacle ${to} already`);
      showFaults();
      app.faultTyped();
      return;
    }
    typed.delete('f-id');
    const plan = model.rename(app.plan, o.id, to);
    app.rechoose(keyOf(to));
    app.change(plan, 'Number of ' + o.id, 'id' + idRun, keyOf(to));
    showFaults();
  });
  $('f-id').addEventListener('blur', () => { typed.delete('f-id'); app.settle(); showOne(); showFaults(); });
  $('f-kind').addEventListener('change', () => {
    const o = one(), kind = $('f-kind').value;
    if (!o) return;
    let plan = setOne({kind});
    // A spread obstacle has a spread; one of 0.9 m is to be corrected sooner than none.
    if (['oxer', 'triple bar', 'water', 'ditch'].includes(kind) && o.spread === null) plan = model.change(plan, o.id, {spread: kind === 'triple bar' ? 1.2 : 0.9});
    app.change(plan, 'Kind of ' + o.id);
  });
  $('back-turn').addEventListener('click', () => one() && app.change(model.turn(app.plan, one().id, one().facing + 180), 'Turn ' + one().id));
  $('remove').addEventListener('click', () => app.chosen && app.remove(app.chosen));
  $('duplicate').addEventListener('click', () => app.duplicate());
  $('element').addEventListener('click', () => app.addElement());

  // Putting an obstacle at a distance of another.
  let putFor = null;
  function showPut() {
    const o = one(), select = $('p-by');
    const others = app.plan.obstacles.filter(x => x !== o);
    $('put').hidden = !o || !others.length;
    if (!o || !others.length) { putFor = null; return; }
    if (changed(select, [o.id, others.map(x => x.id)])) {
      const n = model.neighbours(app.plan, o.id);
      const prefer = putFor === o.id && others.some(x => x.id === select.value) ? select.value : (n.find(x => !x.after) ?? n[0])?.id ?? others[others.length - 1].id;
      select.replaceChildren(...others.map(x => element('option', {value: x.id}, x.id)));
      select.value = prefer;
    }
    const fresh = putFor !== o.id;
    putFor = o.id;
    const by = model.find(app.plan, select.value);
    if (document.activeElement !== $('p-d') && !typed.has('p-d')) {
      $('p-d').value = unitsOf.bare(Math.max(0, model.apart(by.at, o.at) - model.halves(by, o)), app.unit);
    }
    if (fresh || $('p-how').value !== 'bearing') $('p-deg').value = String(Math.round((before(o, by) ? model.bearing(o.at, by.at) : model.bearing(by.at, o.at)) * 10) / 10);
    $('p-deg').disabled = $('p-how').value !== 'bearing';
    showFits(o, by);
  }
  // before tells whether an obstacle comes before another in the route, so that it stands in front of it.
  const before = (o, by) => model.pairs(app.plan).some(([a, b]) => a === o.id && b === by.id) && !model.pairs(app.plan).some(([a, b]) => a === by.id && b === o.id);
  function fitsOf(o, by) {
    return (app.sketch?.lines ?? []).find(l => (l.from === by.id && l.to === o.id) || (l.from === o.id && l.to === by.id))?.fits ?? [];
  }
  function showFits(o, by) {
    const d = model.apart(by.at, o.at) - model.halves(by, o);
    const fits = [...fitsOf(o, by)].sort((a, b) => Math.abs(a.distance_m - d) - Math.abs(b.distance_m - d)).slice(0, 3).sort((a, b) => a.strides - b.strides);
    if (!changed($('p-fits'), [fits, app.unit, by.id])) return;
    $('p-fits').replaceChildren(...fits.map(f => element('button', {type: 'button', class: 'second', on: {click: () => { $('p-d').value = unitsOf.bare(f.distance_m, app.unit); doPut(f.distance_m); }}},
      `on ${f.strides}: ${unitsOf.told(f.distance_m, app.unit)}`)));
  }
  function doPut(d) {
    const o = one(), by = model.find(app.plan, $('p-by').value);
    if (!o || !by) return;
    const how = $('p-how').value;
    const deg = how === 'bearing' ? unitsOf.readNumber($('p-deg').value) : before(o, by) ? model.bearing(o.at, by.at) : model.bearing(by.at, o.at);
    if (d === null || !(d >= 0) || deg === null) {
      typed.set('p-d', d === null || !(d >= 0) ? 'a distance is missing' : 'a bearing is missing');
      showFaults();
      typed.delete('p-d');
      return;
    }
    const exact = how === 'keep' ? Math.atan2(o.at[0] - by.at[0], o.at[1] - by.at[1]) * 180 / Math.PI + (before(o, by) ? 180 : 0) : deg;
    app.change(model.put(app.plan, o.id, by.id, d, {inLine: how === 'line', deg: exact, before: before(o, by)}), `Put ${o.id} at a distance`);
    showFaults();
  }
  $('p-put').addEventListener('click', () => doPut(unitsOf.readLength($('p-d').value, app.unit)));
  for (const id of ['p-d', 'p-deg']) $(id).addEventListener('keydown', e => { if (e.key === 'Enter') { e.preventDefault(); $('p-put').click(); } });
  for (const id of ['p-by', 'p-how']) $(id).addEventListener('change', () => { if (id === 'p-by') putFor = null; showPut(); });

  function showOne() {
    const o = one();
    $('one').hidden = !o;
    $('one-none').hidden = Boolean(o);
    say($('one-title'), o ? `Obstacle ${o.id}` : 'Obstacle');
    if (o) {
      if (document.activeElement !== $('f-id')) $('f-id').value = o.id;
      if ($('f-kind').value !== o.kind) $('f-kind').value = o.kind;
      $('element').disabled = !/^\d+[a-y]?$/i.test(o.id);
    }
    showPut();
  }

  // The lines of the route.
  function showLines() {
    const lines = app.sketch?.lines ?? [], body = $('lines').tBodies[0];
    $('lines-none').hidden = lines.length > 0;
    $('lines-box').hidden = lines.length === 0;
    while (body.rows.length > lines.length * 2) body.lastElementChild.remove();
    lines.forEach((l, i) => {
      let row = body.rows[2 * i], more = body.rows[2 * i + 1];
      if (!row) {
        const kind = element('select', {on: {change: e => { const l = row.line; app.change(model.setLine(app.plan, l.from, l.to, {kind: e.target.value || null}), `Kind of ${words.lineName(l)}`); }}},
          element('option', {value: ''}, 'found'), ...['related', 'bending', 'rollback', 'combination', 'single'].map(k => element('option', {value: k}, k)));
        const tape = element('input', {class: 'ed-tape', inputmode: 'decimal', autocomplete: 'off', size: 6});
        row = element('tr', {}, element('th', {scope: 'row'}, element('button', {type: 'button', class: 'plain', on: {click: () => app.choose(keyOf(row.line.to))}})), element('td', {class: 'ed-d'}), element('td', {class: 'ed-n'}), element('td', {class: 'ed-f'}), element('td', {class: 'noprint', 'data-name': 'Kind'}, kind), element('td', {'data-name': 'Tape'}, tape));
        more = element('tr', {class: 'more'}, element('td', {colspan: 6}));
        body.append(row, more);
        row.showTape = field(tape, {length: true, empty: true, get: () => row.line ? model.meant(app.plan, row.line.from, row.line.to).walked : null,
          set: v => model.setLine(app.plan, row.line.from, row.line.to, {walked: v}), what: () => `Tape of ${words.lineName(row.line)}`, faultOf: () => row.line ? faultAt(`lines[${app.sentLines.findIndex(m => m.from === row.line.from && m.to === row.line.to)}].walked`) : null});
      }
      row.line = l;
      const [th, d, strides, fit, kindCell, tapeCell] = row.cells;
      say(th.firstChild, words.lineName(l));
      say(d, unitsOf.told(words.groundM(l), app.unit, l.counted || app.unit !== 'metres' ? undefined : 1));
      say(strides, l.counted ? (l.whole === 0 ? 'bounce' : `${l.whole} (${unitsOf.number(l.strides.value, 1)})`) : '');
      say(fit, words.fitWords(l, app.unit));
      const kind = kindCell.firstChild;
      kind.setAttribute('aria-label', `Kind of the way from ${l.from} to ${l.to}`);
      const meant = model.meant(app.plan, l.from, l.to).kind ?? '';
      if (kind.value !== meant && document.activeElement !== kind) kind.value = meant;
      say(kind.options[0], l.derived ? `${l.kind} (found)` : 'as found');
      tapeCell.firstChild.setAttribute('aria-label', `Tape from ${l.from} to ${l.to}, ${unitsOf.units[app.unit].short}`);
      row.showTape(false);
      const near = app.chosen && (keyOf(l.from) === app.chosen || keyOf(l.to) === app.chosen);
      row.classList.toggle('near', Boolean(near));
      const cell = more.firstChild;
      say(cell, [words.wayWords(l, app.unit), l.tracks.length ? 'tracks ' + words.trackWords(l, app.unit) : ''].filter(Boolean).join('. '));
    });
    say($('fit-head'), app.sketch?.horse.name ? `For ${app.sketch.horse.name === app.sketch.horse.size ? 'a ' : ''}${app.sketch.horse.name}` : 'For this horse');
  }

  // What should be looked at: faults first, then the warnings, each beside the thing that it is about.
  function showNotes() {
    const faults = app.faults.map(f => ({where: whereOf(f), text: `${f.found}, expected ${f.expected}`}));
    $('faults').hidden = faults.length === 0;
    if (changed($('faults'), faults)) $('faults').replaceChildren(...faults.map(f => element('li', {}, (f.where.text ? f.where.text + ': ' : '') + f.text + ' ', f.where.key ? element('button', {type: 'button', class: 'plain', on: {click: () => app.choose(f.where.key)}}, 'Show') : null)));
    const notes = app.sketch?.notes ?? [];
    if (!changed($('notes'), [notes, app.faults.length > 0, app.sketch?.lines.map(l => [l.from, l.to]), Boolean(app.sketch)])) return;
    const about = n => n.about === 'obstacle' ? `Obstacle ${n.obstacle}` : n.about === 'line' ? words.lineName(app.sketch.lines[n.line]) : {start: 'Start', finish: 'Finish', track: 'Track', speed: 'Speed', levels: 'Heights', plan: 'Plan'}[n.about];
    const key = n => n.about === 'obstacle' ? keyOf(n.obstacle) : n.about === 'line' ? keyOf(app.sketch.lines[n.line].to) : n.about === 'start' || n.about === 'finish' ? n.about : null;
    $('notes').replaceChildren(...notes.map(n => element('li', {},
      key(n) ? element('button', {type: 'button', class: 'plain', on: {click: () => app.choose(key(n))}}, about(n)) : element('b', {}, about(n)),
      `: ${n.what}. ${n.why ? n.why[0].toUpperCase() + n.why.slice(1) + '.' : ''} `, n.source ? element('small', {}, `Source: ${n.source}.`) : null)),
    ...(notes.length ? [] : [element('li', {class: 'quiet'}, app.faults.length ? 'The rest can’t be told yet.' : app.sketch ? 'Nothing that the published rules and tables speak against.' : 'Nothing yet.')]));
  }
  function whereOf(f) {
    const m = /^obstacles\[(\d+)\](?:\.(.*))?$/.exec(f.field);
    if (m) { const o = app.sentObstacles[Number(m[1])]; return {text: o ? `Obstacle ${o.id}${m[2] ? ', ' + m[2] : ''}` : f.field, key: o ? keyOf(o.id) : null}; }
    const l = /^lines\[(\d+)\]/.exec(f.field);
    if (l) { const w = app.sentLines[Number(l[1])]; return {text: w ? `${w.from} to ${w.to}, tape` : f.field, key: null}; }
    return {text: f.field.replace(/\[(\d+)\]/g, (_, n) => ' ' + (Number(n) + 1)).replace(/\./g, ', '), key: null};
  }

  // Each field says what is wrong with it.
  function showFaults() {
    for (const input of document.querySelectorAll('#editor input')) {
      const b = input.bound;
      if (!b) continue;
      const server = b.fault?.();
      mark(input, typed.get(b.mine) ?? (server ? `${server.found}, expected ${server.expected}` : ''));
    }
    const id = at('.id');
    mark($('f-id'), typed.get('f-id') ?? (id ? `${id.found}, expected ${id.expected}` : ''));
    mark($('p-d'), typed.get('p-d') ?? '');
    const named = faultAt('name');
    mark($('name'), named ? `${named.found}, expected ${named.expected}` : '');
    const under = (id, paths, more) => say($(id), [more, ...app.faults.filter(f => paths.some(p => f.field === p || f.field.startsWith(p + '.') || f.field.startsWith(p + '['))).map(f => `${f.found}, expected ${f.expected}`)].filter(Boolean).join('; '));
    under('anchor-fault', ['anchor']);
    under('arena-fault', ['arena'], ['a-width', 'a-length'].map(i => typed.get($(i).bound?.mine)).filter(Boolean).join('; '));
    under('levels-fault', ['levels']);
  }
  function mark(input, text) {
    if (text) input.setAttribute('aria-invalid', 'true');
    else input.removeAttribute('aria-invalid');
    const place = $(input.id + '-fault');
    if (place) say(place, text);
    else input.title = text;
  }

  // The route: what is jumped, in order.
  function showRoute() {
    const plan = app.plan;
    if (changed($('route'), [plan.route, plan.obstacles.map(o => [o.id, o.kind, o.height]), app.chosen])) {
      const focus = document.activeElement?.getAttribute('data-do');
      $('route').replaceChildren(...plan.route.map((id, i) => {
        const o = model.find(plan, id);
        const button = (what, text, label, disabled, f) => element('button', {type: 'button', class: 'second', 'aria-label': label, 'data-do': `${what} ${i}`, disabled, on: {click: f}}, text);
        const shifted = by => () => { app.change(model.shift(plan, i, by), 'Order of the route'); focusOn(`${by < 0 ? 'up' : 'down'} ${i + by}`) || focusOn(`${by < 0 ? 'down' : 'up'} ${i + by}`); };
        return element('li', {class: keyOf(id) === app.chosen ? 'chosen' : null},
          element('button', {type: 'button', class: 'plain ed-name', 'data-do': `name ${i}`, on: {click: () => app.choose(keyOf(id))}}, element('b', {}, id), ` ${o ? o.kind : ''}${o?.height ? ' ' + unitsOf.number(o.height, 2) + ' m' : ''}${o && model.isPole(o) ? ', no effort' : ''}`),
          button('up', 'Up', `${id}, number ${i + 1} of the route: up`, i === 0, shifted(-1)), button('down', 'Down', `${id}, number ${i + 1} of the route: down`, i === plan.route.length - 1, shifted(1)),
          button('out', 'Out', `${id}: out of the route`, false, () => app.change(model.takeOut(plan, i), `${id} out of the route`)));
      }));
      if (focus) focusOn(focus);
    }
    const spare = plan.obstacles.filter(o => !plan.route.includes(o.id));
    $('spare-box').hidden = spare.length === 0;
    if (changed($('spare'), [spare.map(o => [o.id, o.kind]), app.chosen])) {
      $('spare').replaceChildren(...spare.map(o => element('li', {class: keyOf(o.id) === app.chosen ? 'chosen' : null},
        element('button', {type: 'button', class: 'plain ed-name', on: {click: () => app.choose(keyOf(o.id))}}, element('b', {}, o.id), ' ' + o.kind),
        model.isPole(o) ? null : element('button', {type: 'button', class: 'second', 'aria-label': `${o.id} into the route`, on: {click: () => app.change(model.putIn(app.plan, o.id), `${o.id} into the route`)}}, 'In'))));
    }
    const jumpable = plan.obstacles.filter(o => !model.isPole(o)).map(o => o.id);
    document.querySelector('.ed-again').hidden = jumpable.length < 2;
    if (changed($('again'), jumpable)) $('again').replaceChildren(...jumpable.map(id => element('option', {value: id}, id)));
  }
  $('again-do').addEventListener('click', () => { const id = $('again').value; if (id) app.change(model.putIn(app.plan, id), `${id} once more`); });
  function focusOn(what) {
    const b = document.querySelector(`[data-do="${CSS.escape(what)}"]`);
    if (!b || b.disabled) return false;
    b.focus();
    return true;
  }

  // Rows of numbers: corners, spot heights, ends of lines.
  function rows(box, list, {label, columns, remove, least = 0}) {
    const made = JSON.stringify([list.length, columns.length]);
    if (box.madeOf !== made) {
      box.madeOf = made;
      box.shows = [];
      box.replaceChildren(...list.map((_, i) => element('div', {class: 'ed-row', role: 'group', 'aria-label': label(i)}, element('span', {class: 'ed-rowname'}, label(i)), ...columns.map(c => {
        const input = element('input', {inputmode: 'text', autocomplete: 'off', 'aria-label': c.name});
        box.shows.push(field(input, {length: true, get: () => c.get(i), set: v => c.set(i, v), what: () => label(i), faultOf: () => null}));
        return element('span', {class: 'ed-cell'}, element('span', {class: 'hint', 'aria-hidden': 'true'}, c.name), input);
      }), remove ? element('button', {type: 'button', class: 'second', 'aria-label': `Remove ${label(i)}`, disabled: list.length <= least, on: {click: () => remove(i)}}, 'Remove') : null)));
    }
    for (const s of box.shows) s(false);
  }
  const swap = (l, i, v) => l.map((x, k) => k === i ? v : x);

  bindLength('a-width', () => model.asRectangle(app.plan.arena)?.width, v => resized(v, null));
  bindLength('a-length', () => model.asRectangle(app.plan.arena)?.length, v => resized(null, v));
  function bindLength(id, get, set) { shows.push(field($(id), {length: true, get, set, what: () => 'Arena', faultOf: () => faultAt('arena')})); }
  function resized(w, l) {
    const r = model.asRectangle(app.plan.arena) ?? {width: 60, length: 40, x: 0, y: 0};
    return {...app.plan, arena: model.rectangle(w ?? r.width, l ?? r.length).map(([x, y]) => [model.tidy(x + r.x), model.tidy(y + r.y)])};
  }
  $('a-open').addEventListener('change', () => app.change({...app.plan, arena: $('a-open').checked ? null : app.arenaBefore ?? model.rectangle(60, 40)}, 'Boundary'));
  $('a-add').addEventListener('click', () => {
    const a = app.plan.arena;
    if (!a) return;
    // In the middle of the longest side.
    let best = 0, most = -1;
    a.forEach((p, i) => { const d = model.apart(p, a[(i + 1) % a.length]); if (d > most) { most = d; best = i; } });
    const q = a[(best + 1) % a.length];
    app.change({...app.plan, arena: [...a.slice(0, best + 1), [model.centimetre((a[best][0] + q[0]) / 2), model.centimetre((a[best][1] + q[1]) / 2)], ...a.slice(best + 1)]}, 'Corner');
    app.choose('corner:' + (best + 1));
  });
  function showArena() {
    $('a-open').checked = !app.plan.arena;
    $('a-add').disabled = !app.plan.arena;
    const a = app.plan.arena ?? [];
    if (a.length) app.arenaBefore = app.plan.arena;
    rows($('corners'), a, {label: i => `Corner ${i + 1}`, least: 3, remove: i => app.change(without(app.plan, 'corner:' + i), 'Corner'), columns: [
      {name: 'right', get: i => app.plan.arena?.[i]?.[0], set: (i, v) => ({...app.plan, arena: swap(app.plan.arena, i, [v, app.plan.arena[i][1]])})},
      {name: 'forward', get: i => app.plan.arena?.[i]?.[1], set: (i, v) => ({...app.plan, arena: swap(app.plan.arena, i, [app.plan.arena[i][0], v])})}]});
  }

  $('s-add').addEventListener('click', () => {
    const [x, y] = app.freePlace();
    app.change({...app.plan, levels: [...app.plan.levels, [model.centimetre(x), model.centimetre(y), 0]]}, 'Spot height');
    app.choose('spot:' + (app.plan.levels.length - 1));
  });
  function showHeights() {
    const set = (i, k) => v => ({...app.plan, levels: swap(app.plan.levels, i, swap(app.plan.levels[i], k, v))});
    rows($('spots'), app.plan.levels, {label: i => `Height ${i + 1}`, remove: i => app.change(without(app.plan, 'spot:' + i), 'Spot height'), columns: ['right', 'forward', 'height'].map((name, k) => ({name, get: i => app.plan.levels[i]?.[k], set: (i, v) => set(i, k)(v)}))});
    say($('ground'), app.sketch ? words.groundWords(app.sketch, app.plan, app.unit) : '');
  }

  // Start, finish, gate and home: there or not, and where.
  const parts = [['start', 'Start line', 2], ['finish', 'Finish line', 2], ['gate', 'Gate', 1], ['home', 'Home, what the horse is drawn to', 1]];
  for (const [key, label, ends] of parts) {
    const check = element('input', {type: 'checkbox', id: 't-' + key});
    const box = element('div', {class: 'ed-list', id: 't-' + key + '-rows'});
    check.addEventListener('change', () => {
      app.change({...app.plan, [key]: !check.checked ? null : ends === 2 ? model.timing(app.plan, key) : app.freePlace().map(model.centimetre)}, label);
      if (check.checked) app.choose(key);
    });
    $('timing').append(element('label', {class: 'check'}, check, ' ' + label), box, element('p', {class: 'ed-fault', id: 't-' + key + '-fault'}));
  }
  function showTiming() {
    for (const [key, , ends] of parts) {
      const there = app.plan[key];
      $('t-' + key).checked = Boolean(there);
      const list = !there ? [] : ends === 2 ? there : [there];
      const get = (i, k) => { const v = app.plan[key]; return v ? (ends === 2 ? v[i] : v)[k] : null; };
      const set = (i, k, v) => { const was = app.plan[key]; return {...app.plan, [key]: ends === 2 ? swap(was, i, swap(was[i], k, v)) : swap(was, k, v)}; };
      rows($('t-' + key + '-rows'), list, {label: i => ends === 2 ? `${key === 'start' ? 'Start' : 'Finish'}, ${i ? 'right' : 'left'} end` : key === 'gate' ? 'Gate at' : 'Home at',
        columns: ['right', 'forward'].map((name, k) => ({name, get: i => get(i, k), set: (i, v) => set(i, k, v)}))});
      say($('t-' + key + '-fault'), app.faults.filter(f => f.field === key || f.field.startsWith(key + '[')).map(f => `${f.found}, expected ${f.expected}`).join('; '));
    }
  }

  // Anchor: all three or none.
  const anchor = [['lat', 'latitude'], ['lon', 'longitude'], ['bearing', 'bearing']];
  for (const [id, key] of anchor) shows.push(field($(id), {empty: true, get: () => app.plan.anchor?.[key], faultOf: () => faultAt('anchor.' + key), what: () => 'Anchor', set: v => {
    const next = {...(app.plan.anchor ?? {latitude: null, longitude: null, bearing: 0}), [key]: v};
    return {...app.plan, anchor: anchor.every(([, k]) => next[k] === null || (k === 'bearing' && next[k] === 0 && next.latitude === null && next.longitude === null)) ? null : next};
  }}));

  $('name').addEventListener('input', () => app.change({...app.plan, name: $('name').value}, 'Name', 'name'));
  $('name').addEventListener('blur', () => app.settle());

  let movingOf = null, movedAt = 0;
  return {
    anyFault,
    forget() { typed.clear(); },
    show() {
      if (document.activeElement !== $('name') && $('name').value !== app.plan.name) $('name').value = app.plan.name;
      for (const u of document.querySelectorAll('#editor .unit')) say(u, unitsOf.units[app.unit].short);
      showOne();
      for (const s of shows) s(false);
      showLines();
      showRoute();
      showNotes();
      showArena();
      showHeights();
      showTiming();
      showFaults();
    },
    // What who builds the course needs on paper, of each obstacle.
    print() {
      const length = m => unitsOf.number(m / unitsOf.units[app.unit].m, unitsOf.units[app.unit].decimals), short = unitsOf.units[app.unit].short;
      const metres = v => v === null ? '' : unitsOf.number(v, 2);
      $('print-obstacles').replaceChildren(
        element('thead', {}, element('tr', {}, ...['Obstacle', 'Kind', 'Height, m', 'Spread, m', `Face, ${short}`, `Right, ${short}`, `Forward, ${short}`, 'Facing, °'].map(h => element('th', {scope: 'col'}, h)))),
        element('tbody', {}, ...app.plan.obstacles.map(o => element('tr', {}, element('th', {scope: 'row'}, o.id), ...[o.kind, metres(o.height), metres(o.spread), length(o.width), length(o.at[0]), length(o.at[1]), unitsOf.number(o.facing, 0)].map(v => element('td', {}, v))))));
    },
    // While dragging only what moves is shown, and the tables at most every so many milliseconds.
    showMoving(everyMs) {
      for (const s of shows) s(false);
      if (movingOf === app.sketch || performance.now() - movedAt < everyMs) return;
      movingOf = app.sketch;
      movedAt = performance.now();
      showLines();
      showPut();
      showNotes();
      showFaults();
    },
  };
}


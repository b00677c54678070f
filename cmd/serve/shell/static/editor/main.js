// The course editor: puts the parts together. The plan and its past are in history, the figures come from the server
// through live, drawing and form show both.

import * as model from './model.js';
import {createHistory} from './history.js';
import {createDrawing} from './draw.js';
import {handle} from './drag.js';
import {createForm, element, say} from './form.js';
import {createLive} from './live.js';
import {createDraft} from './draft.js';
import * as server from './server.js';
import {idOf, keyOf, thing, nameOf, without} from './things.js';
import {number, told, units} from './units.js';
import * as words from './words.js';

const $ = id => document.getElementById(id);
const root = $('editor');
const svg = $('drawing');

let course = Number(root.dataset.course) || 0;
let base = root.dataset.base;
const kept = root.dataset.plan ? model.normal(JSON.parse(root.dataset.plan)) : model.emptyPlan();
let savedPlan = course ? kept : null; // as the store has it; null for a course that is not kept
const history = createHistory(kept);
let draft = createDraft(window.localStorage, course);

let sketch = null, sketchOf = -1; // the last good figures, and for which revision
let revision = 0, changedAt = 0;
const askedAt = new Map(); // when each revision was drawn, until its figures are there
let faults = [], sentObstacles = [], sentLines = [], state = 'fresh'; // fresh | asking | faulty | away
let chosen = null, guideLines = [], hits = [];
let horse = {size: 'horse'};
let unit = 'metres';
try {
  unit = units[localStorage.getItem('groundline units')] ? localStorage.getItem('groundline units') : root.dataset.units === 'imperial' ? 'feet' : 'metres';
} catch { unit = root.dataset.units === 'imperial' ? 'feet' : 'metres'; }

const drawing = createDrawing(svg);
const view = () => ({plan: history.plan, sketch, stale: state !== 'fresh' && sketchOf !== revision, chosen, unit, corners: $('d-arena').open, spots: $('d-heights').open, guide: guideLines});
const dirty = () => savedPlan ? !model.same(savedPlan, history.plan) : history.plan.obstacles.length > 0 && !(kept.obstacles.length && history.plan === kept);

const app = {
  get plan() { return history.plan; },
  get sketch() { return sketch; },
  get chosen() { return chosen; },
  get unit() { return unit; },
  get faults() { return faults; },
  get sentObstacles() { return sentObstacles; },
  get sentLines() { return sentLines; },
  get snapping() { return $('snap').checked; },
  view,
  choose(key) {
    if (key && !thing(history.plan, key)) key = null;
    if (key === chosen) return;
    chosen = key;
    if (key?.startsWith('corner:')) $('d-arena').open = true;
    if (key?.startsWith('spot:')) $('d-heights').open = true;
    sayNow();
    form.show();
    render();
  },
  rechoose(key) { chosen = key; },
  // change makes a plan the newest; key merges it with the changes before that have the same.
  change(plan, what, key = null, pick = chosen) {
    if (plan === history.plan) return;
    const lost = history.plan.lines.filter(l => l.walked != null && plan.lines.some(m => m.from === l.from && m.to === l.to && m.walked == null) && what !== `Tape of ${words.lineName(l)}`);
    history.add(plan, what, key, pick);
    if (lost.length) notice = `The tape of ${lost.map(words.lineName).join(' and ')} was for the old place and is taken out. Undo brings it back.`;
    after(key !== null && /^(drag|turn)\d/.test(key)); // lists wait until a drag has ended
  },
  settle() {
    history.settle();
    if (!settled) { settled = true; heavy = true; announceSoon(); }
    render();
  },
  remove(key) {
    const t = thing(history.plan, key);
    if (!t) return;
    const next = key.startsWith('o:') ? model.remove(history.plan, idOf(key)) : without(history.plan, key);
    const beside = besides(key);
    history.add(next, `Remove ${nameOf(t)}`, null, key);
    chosen = null;
    after(false);
    const other = beside && thing(history.plan, beside) ? drawing.node(beside) : null;
    (other ?? $('add')).focus({preventScroll: true});
    aloud(`${nameOf(t)} removed.`);
  },
  duplicate() {
    const o = idOf(chosen) !== null ? model.find(history.plan, idOf(chosen)) : null;
    if (!o) return;
    const id = model.nextID(history.plan);
    const at = model.along(o.at, o.facing + 90, Math.max(o.width + 1.5, 4)).map(model.centimetre);
    history.add(model.add(history.plan, {...o, id, at}), `Duplicate ${o.id}`, null, keyOf(id));
    chosen = keyOf(id);
    after(false);
    aloud(`${o.id} duplicated as ${id}.`);
  },
  addElement() {
    const o = idOf(chosen) !== null ? model.find(history.plan, idOf(chosen)) : null;
    if (!o) return;
    // A stride between elements, by what the server says of a way of this obstacle; else 24 ft, the usual low double.
    const one = (sketch?.lines ?? []).find(l => l.from === o.id || l.to === o.id)?.fits.find(f => f.strides === 1)?.distance_m ?? 7.32;
    const made = model.addElement(history.plan, o.id, one);
    if (!made) { notice = `There is an element behind ${o.id} already.`; sayNow(); return; }
    history.add(made.plan, `Element behind ${o.id}`, null, keyOf(made.id));
    chosen = keyOf(made.id);
    after(false);
    aloud(`Element ${made.id} put up.`);
  },
  guide(lines, met) { guideLines = lines; hits = met; },
  faultTyped() { freshness(); },
  // freePlace is a place in the middle of what is seen where nothing stands.
  freePlace() {
    const [x, y] = drawing.middle();
    const stands = p => history.plan.obstacles.some(o => model.apart(o.at, p) < 5);
    for (let r = 0; r < 12; r++) for (let k = 0; k < Math.max(1, 6 * r); k++) {
      const p = model.along([x, y], k * 60 / Math.max(1, r), 5 * r);
      if (!stands(p)) return p;
    }
    return [x, y];
  },
};

const form = createForm(app);
handle(svg, drawing, app);

let settled = true, notice = '', frame = 0, heavy = false, pace = 16, lastFrame = 0;

// after a change: draw at the next frame, ask for figures, keep the draft.
function after(running) {
  revision++;
  changedAt = performance.now();
  askedAt.set(revision, changedAt);
  settled = !running;
  if (chosen && !thing(history.plan, chosen)) chosen = null;
  ask();
  draftSoon();
  heavy = heavy || !running;
  render();
  if (!running) announceSoon();
}

function render() {
  if (frame) return;
  frame = requestAnimationFrame(() => {
    frame = 0;
    const began = performance.now();
    // A slow machine that can't keep up with a drag first leaves out what is only beside it.
    pace = settled ? 16 : 0.8 * pace + 0.2 * Math.min(200, began - lastFrame);
    lastFrame = began;
    svg.classList.toggle('slow', pace > 28);
    drawing.render(view());
    drawScale();
    if (heavy) {
      heavy = false;
      form.show();
      if (drawing.fitted && settled) drawing.fit(view()); // what stands outside by now is shown too
    } else form.showMoving(pace > 28 ? 400 : 0);
    $('undo').disabled = !history.canUndo;
    $('redo').disabled = !history.canRedo;
    $('undo').title = history.undoes;
    $('redo').title = history.redoes;
    sayNow();
    saidSaved();
    measured('frame', began);
  });
}

// measured leaves how long something took for who measures it; the browser keeps these, so not without end.
let measures = 0;
function measured(name, start) {
  if (++measures % 2000 === 0) performance.clearMeasures();
  performance.measure(name, {start, end: performance.now()});
}

const live = createLive({
  send: server.sketch,
  shown({sketch: got, revision: of}) {
    if (of < sketchOf) return;
    sketch = got;
    sketchOf = of;
    if (of === revision) {
      state = 'fresh';
      faults = [];
    }
    // How old figures are when they are shown.
    measured('figures', askedAt.get(of) ?? changedAt);
    for (const r of askedAt.keys()) if (r <= of) askedAt.delete(r);
    heavy = heavy || settled;
    render();
    freshness();
    if (of === revision && settled) announceSoon();
  },
  faulty({problem, revision: of}) {
    if (of !== revision) return;
    state = 'faulty';
    faults = problem.faults ?? [{field: '', found: problem.detail ?? 'the figures were refused', expected: 'another plan or horse', line: 0}];
    heavy = true;
    render();
    freshness();
  },
  away() {
    state = 'away';
    heavy = true;
    render();
    freshness();
  },
});

function ask() {
  const plan = model.wire(history.plan);
  if (!model.jumped(history.plan).length) {
    // Nothing to tell yet, and no fault: the first obstacle is still to come.
    sketch = null;
    sketchOf = revision;
    state = 'fresh';
    faults = [];
    freshness();
    return;
  }
  if (state === 'fresh') state = 'asking';
  root.dataset.figures = 'old';
  sentObstacles = plan.obstacles;
  sentLines = plan.lines;
  live.ask(revision, {plan, horse});
  setTimeout(freshness, 500);
}

// freshness says in a word whether the figures are those of the drawing.
function freshness() {
  const old = sketchOf !== revision && (state === 'away' || state === 'faulty' || performance.now() - changedAt > 450);
  let text = '';
  if (state === 'away') text = 'The server does not answer. Drawing goes on; the figures are old.';
  else if (state === 'faulty') text = sketch ? 'The figures are from before: something can’t be read, see To look at.' : 'No figures yet: something can’t be read, see To look at.';
  else if (form.anyFault()) text = 'A field can’t be read; the drawing has what was there before.';
  else if (old) text = 'The figures are being worked out.';
  say($('freshness'), text);
  root.classList.toggle('old', old && sketch !== null);
  root.dataset.figures = sketchOf === revision ? 'now' : 'old';
}

// sayNow tells the lines of what is chosen, below the drawing.
function sayNow() {
  let text = notice;
  const id = chosen ? idOf(chosen) : null;
  if (hits.length) {
    const told1 = hits.map(h => h.strides === null ? `in line with ${h.by}` : `${h.inLine ? 'in line with ' : ''}${h.by}: ${told(h.distance_m, unit)}, ${h.strides} ${h.strides === 1 ? 'stride' : 'strides'}`);
    text = `Snapped ${told1.join('; ')}`;
  } else if (!text && id !== null) {
    const lines = (sketch?.lines ?? []).filter(l => l.from === id || l.to === id);
    text = lines.length ? lines.map(l => words.lineWords(l, unit)).join(' · ') : `${id} makes no line yet`;
  } else if (!text && chosen) {
    const t = thing(history.plan, chosen);
    text = t ? `${nameOf(t)} at ${t.at.map(v => number(v / units[unit].m, 1)).join(', ')} ${units[unit].short}` : '';
  } else if (!text) {
    text = history.plan.obstacles.length ? 'Choose an obstacle to see its lines.' : 'Add the first obstacle.';
  }
  say($('now'), text);
  say($('whole-course'), sketch ? words.courseWords(sketch, unit) : '');
}

// Screen readers hear the distances when a change has settled, not on every pixel.
let announceTimer = 0, lastSaid = '';
function announceSoon() {
  clearTimeout(announceTimer);
  announceTimer = setTimeout(() => {
    const id = chosen ? idOf(chosen) : null;
    if (sketchOf !== revision || !id) return;
    const t = thing(history.plan, chosen);
    const text = [words.obstacleWords(t.obstacle, unit), ...sketch ? sketch.lines.filter(l => l.from === id || l.to === id).map(l => words.lineWords(l, unit)) : [], notice].filter(Boolean).join('. ');
    if (text !== lastSaid) aloud(text);
    lastSaid = text;
  }, 700);
}
function aloud(text) { $('aloud').textContent = text; }

function besides(key) {
  const keys = [...svg.querySelectorAll('[data-key]')].map(n => n.getAttribute('data-key'));
  const i = keys.indexOf(key);
  return keys[i + 1] ?? keys[i - 1] ?? null;
}

// The scale bar.
function drawScale() {
  const m = units[unit].m, px = drawing.scale * m;
  const n = [1, 2, 5, 10, 20, 50, 100, 200, 500].find(n => n * px >= 40) ?? 1000;
  const w = n * px;
  const key = `${n} ${Math.round(w)} ${unit}`;
  const bar = $('scale');
  if (bar.was === key) return;
  bar.was = key;
  const ns = 'http://www.w3.org/2000/svg';
  const path = document.createElementNS(ns, 'path');
  path.setAttribute('d', `M1 8V16H${w + 1}V8`);
  const text = document.createElementNS(ns, 'text');
  text.setAttribute('x', w + 8);
  text.setAttribute('y', 17);
  text.textContent = `${n} ${units[unit].short}`;
  bar.replaceChildren(path, text);
}

// Undo and redo.
function step(which) {
  const done = history[which]();
  if (!done) return;
  if (done.pick && thing(history.plan, done.pick)) chosen = done.pick;
  form.forget();
  notice = '';
  after(false);
  aloud(`${which === 'undo' ? 'Undone' : 'Done again'}: ${done.what}.`);
}
$('undo').addEventListener('click', () => step('undo'));
$('redo').addEventListener('click', () => step('redo'));
addEventListener('keydown', e => {
  if (!(e.ctrlKey || e.metaKey) || e.altKey) return;
  // In a field the browser's own undo is for the text typed there.
  if (e.target.matches?.('textarea, input:not([type=checkbox])') && !e.target.bound) return;
  const key = e.key.toLowerCase();
  if (key === 'z' || key === 'y') {
    e.preventDefault();
    if (e.target.matches?.('input')) e.target.blur();
    step(key === 'y' || e.shiftKey ? 'redo' : 'undo');
  } else if (key === 's') {
    e.preventDefault();
    save();
  }
});

$('add').addEventListener('click', e => {
  const id = model.nextID(history.plan), last = history.plan.obstacles[history.plan.obstacles.length - 1];
  const at = app.freePlace().map(v => model.tidy(Math.round(v * 2) / 2));
  history.add(model.add(history.plan, {id, kind: 'vertical', at, facing: last?.facing ?? 0, height: last?.height ?? 0.8, spread: null, width: last?.width ?? model.usualWidthM}), `Add ${id}`, null, keyOf(id));
  chosen = keyOf(id);
  notice = '';
  after(false);
  if (e.detail === 0) requestAnimationFrame(() => drawing.node(keyOf(id))?.focus({preventScroll: true})); // by the keyboard: arrows move it at once, when it is drawn
  aloud(`Obstacle ${id} put up in the middle of the plan.`);
});
$('closer').addEventListener('click', () => { drawing.zoom(1.4); drawScale(); });
$('farther').addEventListener('click', () => { drawing.zoom(1 / 1.4); drawScale(); });
$('whole').addEventListener('click', () => { drawing.fit(view()); drawScale(); });
for (const id of ['d-arena', 'd-heights']) $(id).addEventListener('toggle', () => { if (chosen && (chosen.startsWith('corner:') && !$('d-arena').open || chosen.startsWith('spot:') && !$('d-heights').open)) chosen = null; render(); });
svg.addEventListener('pointerdown', () => { notice = ''; });
svg.addEventListener('keydown', () => { if (notice) notice = ''; }, true);

// Units and horse.
$('unit').value = unit;
$('unit').addEventListener('change', () => {
  unit = $('unit').value;
  try { localStorage.setItem('groundline units', unit); } catch { /* the choice holds for this page */ }
  form.forget();
  heavy = true;
  render();
});
$('horse').value = root.dataset.horse.includes(':') ? root.dataset.horse : 'size:' + root.dataset.horse;
$('horse').addEventListener('change', async () => {
  const [how, what] = [$('horse').value.slice(0, 4), $('horse').value.slice(5)];
  if (how === 'size') horse = {size: what};
  else {
    try {
      const got = await server.horse(what);
      if (!got.ok) { notice = got.problem.detail; $('horse').value = 'size:horse'; horse = {size: 'horse'}; } else horse = {file: got.file};
    } catch { notice = 'The server does not answer, so the horse is not known.'; }
  }
  revision++;
  changedAt = performance.now();
  ask();
  render();
});

// Saving, with a check that nobody saved meanwhile.
const clock = iso => new Date(iso).toLocaleString(undefined, {dateStyle: 'medium', timeStyle: 'short'});
let saving = false, saidLast = '';
async function save(over = null) {
  if (saving) return;
  const plan = history.plan;
  if (!model.jumped(plan).length) { saidLast = 'Nothing to save yet: put up an obstacle.'; saidSaved(); return; }
  saving = true;
  saidLast = 'Saving …';
  saidSaved();
  try {
    const answer = await server.save({plan: model.wire(plan), horse: {}, course, base: over ?? base});
    if (answer.ok) {
      draft.drop();
      offered = false;
      const first = !course;
      course = answer.value.course;
      if (first) draft = createDraft(window.localStorage, course);
      base = answer.value.base;
      savedPlan = plan;
      saidLast = `Saved as version ${answer.value.version}.`;
      hideAsk();
      if (first) window.history.replaceState(null, '', `/courses/${course}/edit`);
      root.dataset.course = course;
      showView();
    } else if (answer.status === 409) {
      saidLast = 'Not saved: somebody saved this course meanwhile.';
      askChoice(`${answer.value.name} was saved by somebody else as version ${answer.value.version}, ${clock(answer.value.changed_at)}.`, [
        ['Save mine over it', () => save(answer.value.base)],
        ['Save mine as a new course', () => { course = 0; base = ''; savedPlan = null; save(); }],
        ['See theirs', () => { leaving = true; draft.keep(history.plan, base, new Date().toISOString()); location.reload(); }]]);
    } else {
      saidLast = 'Not saved: ' + (answer.value.faults ? 'something can’t be read, see To look at.' : answer.value.detail);
      if (answer.value.faults) { faults = answer.value.faults; heavy = true; render(); }
    }
  } catch {
    saidLast = 'Not saved: the server does not answer. The draft is kept on this device.';
  } finally {
    saving = false;
    saidSaved();
    draftSoon();
  }
}
$('save').addEventListener('click', () => save());
function saidSaved() {
  const d = dirty();
  let text = saidLast;
  if (!text || (text.startsWith('Saved') && d)) text = d ? 'Changes are not saved yet.' : savedPlan ? 'As it was kept.' : 'Not kept yet.';
  say($('saved'), text);
  if (!saving && !text.startsWith('Not saved') && !text.startsWith('Nothing')) saidLast = text.startsWith('Saved') ? text : '';
}
// The page of the course has the walk and the attempts.
function showView() {
  $('to-course').hidden = !course;
  if (course) $('to-course').href = `/courses/${course}`;
}

// A question with buttons, above the drawing.
function askChoice(text, choices) {
  $('ask').replaceChildren(element('p', {role: 'alert'}, text), element('div', {class: 'actions'}, ...choices.map(([label, f], i) => element('button', {type: 'button', class: i ? 'second' : null, on: {click: () => { hideAsk(); f(); }}}, label))));
  $('ask').hidden = false;
}
function hideAsk() { $('ask').hidden = true; $('ask').replaceChildren(); }

// Drafts.
let draftTimer = 0, leaving = false;
function draftSoon() {
  clearTimeout(draftTimer);
  draftTimer = setTimeout(keepDraft, 400);
}
function keepDraft() {
  // One that was found is not written over before its fate is said.
  if (dirty()) draft.keep(history.plan, base, new Date().toISOString(), offered);
  else if (!offered) draft.drop();
}
addEventListener('pagehide', keepDraft);
document.addEventListener('visibilitychange', () => { if (document.visibilityState === 'hidden') keepDraft(); });
addEventListener('beforeunload', e => { if (dirty() && !leaving) e.preventDefault(); });

let offered = false;
function offerDraft() {
  const d = draft.found();
  if (!d || model.same(model.normal(d.plan), history.plan)) return;
  offered = true;
  askChoice(`There is a draft of ${clock(d.at)} on this device that was not saved.${course && d.base !== base ? ' The course was saved since.' : ''}`, [
    ['Go on with the draft', () => { offered = false; draft.decided(); if (d.base) base = d.base; load(model.normal(d.plan), 'The draft'); keepDraft(); }],
    ['Throw it away', () => { offered = false; draft.decided(); if (history.canUndo) keepDraft(); else offerDraft(); }]]);
}

// load makes another plan the newest, as one step that undo takes back.
function load(plan, what) {
  form.forget();
  chosen = null;
  history.add(plan, what);
  after(false);
  drawing.fit(view());
}

// Import, text and export.
const textSaid = (...nodes) => $('text-said').replaceChildren(...nodes);
async function take(text, what) {
  let answer;
  try { answer = await server.read(text); } catch { textSaid(element('p', {}, 'The server does not answer, and it is who reads plans.')); return; }
  if (!answer.ok) {
    const list = answer.problem.faults ?? [];
    textSaid(element('p', {}, list.length ? 'This can’t be read:' : answer.problem.detail), element('ul', {class: 'ed-faults'}, ...list.map(f => element('li', {}, `${f.line ? `Row ${f.line}: ` : ''}${f.field ? f.field + ': ' : ''}${f.found}, expected ${f.expected}`))));
    return;
  }
  load(model.normal(answer.plan), what);
  textSaid(element('p', {}, `${what} is drawn.${answer.comments ? ' Its comments are not kept when the course is saved.' : ''}`),
    ...(answer.warnings.length ? [element('ul', {class: 'notes'}, ...answer.warnings.map(w => element('li', {}, `${w.line ? `Row ${w.line}: ` : ''}${w.field ? w.field + ': ' : ''}${w.what}${w.why ? ': ' + w.why : ''}`)))] : []));
}
$('import').addEventListener('change', async () => {
  const file = $('import').files[0];
  if (!file) return;
  if (file.size > 8 << 20) textSaid(element('p', {}, `${file.name} has ${Math.round(file.size / 1e6)} MB; no plan is so long.`));
  else await take(await file.text(), file.name);
  $('import').value = '';
});
$('text-read').addEventListener('click', () => take($('text').value, 'The text'));
$('text-write').addEventListener('click', async () => {
  const got = await exported('yaml');
  if (got) { $('text').value = await got.blob.text(); textSaid(element('p', {}, 'The drawing is written as text.')); }
});
async function exported(format) {
  try {
    const got = await server.write({plan: model.wire(history.plan), horse, format, units: unit === 'feet' ? 'imperial' : 'metric'});
    if (got.ok) return got;
    textSaid(element('p', {}, got.problem.faults ? 'Something in the plan can’t be read, see To look at.' : got.problem.detail));
  } catch { textSaid(element('p', {}, 'The server does not answer, and it is who writes files.')); }
  return null;
}
for (const b of document.querySelectorAll('[data-export]')) b.addEventListener('click', async () => {
  const got = await exported(b.dataset.export);
  if (!got) return;
  const url = URL.createObjectURL(got.blob);
  const a = element('a', {href: url, download: got.name});
  a.click();
  setTimeout(() => URL.revokeObjectURL(url), 10000);
  textSaid(element('p', {}, `${got.name} is written.`));
});

// Print: the plan to a round scale on the sheet.
$('print').addEventListener('click', () => window.print());
let printed = null;
addEventListener('beforeprint', () => {
  if (printed) return;
  const was = chosen;
  printed = {was};
  chosen = null;
  const {to, w, h} = drawing.scaled(view(), 186, 130);
  svg.style.width = w + 'mm';
  svg.style.height = h + 'mm';
  say($('print-scale'), `1 : ${to}`);
  form.print();
});
addEventListener('afterprint', () => {
  if (!printed) return;
  chosen = printed.was;
  printed = null;
  svg.style.width = svg.style.height = '';
  drawing.fit(view());
  render();
});

// Begin.
drawing.fit(view());
ask();
form.show();
sayNow();
drawScale();
showView();
saidSaved();
offerDraft();

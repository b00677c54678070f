// The plan as the editor holds it: the fields of a plan file in metres (see report/sketch). A plan is never changed in
// place: every function gives a new one that shares what stayed the same, so that undo is a list of plans.

export const usualWidthM = 3.5;

// The arena of a new course: 60 m by 40 m, a usual ring.
export function emptyPlan() {
  return normal({name: '', arena: rectangle(60, 40), speed: 350});
}

// normal fills in what a plan leaves out.
export function normal(f) {
  return {
    name: f.name ?? '', anchor: f.anchor ?? null, arena: f.arena ?? null, levels: f.levels ?? [], home: f.home ?? null, gate: f.gate ?? null,
    speed: f.speed ?? null, start: f.start ?? null, finish: f.finish ?? null, obstacles: f.obstacles ?? [], route: f.route ?? [], lines: f.lines ?? [],
  };
}

// wire is the plan as the server reads it. What is said of ways that the route does not have stays with the editor, for
// when the route has them again.
export function wire(plan) {
  const ways = new Set(pairs(plan).map(([a, b]) => a + '\n' + b));
  const out = {plan: 'groundline/1', units: 'metres'};
  if (plan.name.trim()) out.name = plan.name.trim();
  return {
    ...out, anchor: plan.anchor, arena: plan.arena, levels: plan.levels.length ? plan.levels : null, home: plan.home, gate: plan.gate,
    speed: plan.speed, start: plan.start, finish: plan.finish, obstacles: plan.obstacles, route: plan.route,
    lines: plan.lines.filter(l => ways.has(l.from + '\n' + l.to) && (l.kind || l.walked != null)),
  };
}

export const same = (a, b) => JSON.stringify(wire(a)) === JSON.stringify(wire(b));

export const rectangle = (w, l) => [[0, 0], [w, 0], [w, l], [0, l]];

// asRectangle is an arena's width and length where it is a rectangle along the axes; null for others.
export function asRectangle(arena) {
  if (!arena || arena.length !== 4) return null;
  const xs = arena.map(p => p[0]), ys = arena.map(p => p[1]);
  const [x0, x1, y0, y1] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  const corner = (x, y) => arena.filter(p => Math.abs(p[0] - x) < 1e-6 && Math.abs(p[1] - y) < 1e-6).length === 1;
  if (x1 - x0 < 1e-6 || y1 - y0 < 1e-6 || ![x0, x1].every(x => [y0, y1].every(y => corner(x, y)))) return null;
  return {width: x1 - x0, length: y1 - y0, x: x0, y: y0};
}

export const find = (plan, id) => plan.obstacles.find(o => o.id === id);
export const isPole = o => o.kind === 'pole';

// jumped is the route without what is no effort.
export const jumped = plan => plan.route.filter(id => { const o = find(plan, id); return o && !isPole(o); });

// pairs are the ways of the route, [from, to].
export function pairs(plan) {
  const route = jumped(plan);
  return route.slice(1).map((id, i) => [route[i], id]);
}

// neighbours are the obstacles before and behind one in the route, each once.
export function neighbours(plan, id) {
  const out = [];
  for (const [a, b] of pairs(plan)) {
    if (a === b) continue;
    if (a === id && !out.some(n => n.id === b && n.after)) out.push({id: b, after: true});
    if (b === id && !out.some(n => n.id === a && !n.after)) out.push({id: a, after: false});
  }
  return out;
}

const round = (v, to) => Math.round(v / to) * to;
// tidy takes off the dust of binary fractions: a tenth of a millimetre is finer than any tape.
export const tidy = v => Number(v.toFixed(4)) + 0;
export const centimetre = v => tidy(round(v, 0.01));
export const wrap = deg => { const d = tidy(((deg % 360) + 360) % 360); return d >= 360 ? 0 : d; };

// change is the plan with other values in an obstacle. Where it is moved or its spread changes, the tapes of its ways
// were of another distance and are taken out.
export function change(plan, id, values) {
  const before = find(plan, id);
  if (!before) return plan;
  const after = {...before, ...values};
  let next = {...plan, obstacles: plan.obstacles.map(o => o === before ? after : o)};
  if (before.at[0] !== after.at[0] || before.at[1] !== after.at[1] || before.spread !== after.spread) next = withoutTapes(next, id);
  return next;
}

const tapesOf = (plan, id) => plan.lines.filter(l => l.walked != null && (l.from === id || l.to === id));

function withoutTapes(plan, id) {
  if (!tapesOf(plan, id).length) return plan;
  return {...plan, lines: plan.lines.map(l => l.walked != null && (l.from === id || l.to === id) ? {...l, walked: null} : l)};
}

export const move = (plan, id, x, y) => change(plan, id, {at: [centimetre(x), centimetre(y)]});
export const turn = (plan, id, deg) => change(plan, id, {facing: wrap(deg)});

// rename gives an obstacle another name, in the route and in the ways too; the plan as it is where that name is taken.
export function rename(plan, id, to) {
  if (id === to || find(plan, to)) return plan;
  const name = x => x === id ? to : x;
  return {
    ...plan, obstacles: plan.obstacles.map(o => o.id === id ? {...o, id: to} : o), route: plan.route.map(name),
    lines: plan.lines.map(l => l.from === id || l.to === id ? {...l, from: name(l.from), to: name(l.to)} : l),
  };
}

// nextID is the number after the highest.
export function nextID(plan) {
  const most = Math.max(0, ...plan.obstacles.map(o => parseInt(o.id, 10)).filter(n => n < 1000));
  for (let n = most + 1; ; n++) if (!find(plan, String(n))) return String(n);
}

// add puts up an obstacle, behind the others and at the end of the route unless it is a pole.
export function add(plan, values) {
  const o = {kind: 'vertical', facing: 0, height: null, spread: null, width: usualWidthM, ...values};
  return {...plan, obstacles: [...plan.obstacles, o], route: isPole(o) ? plan.route : [...plan.route, o.id]};
}

export function remove(plan, id) {
  return {
    ...plan, obstacles: plan.obstacles.filter(o => o.id !== id), route: plan.route.filter(r => r !== id),
    lines: plan.lines.filter(l => l.from !== id && l.to !== id),
  };
}

// addElement puts an element behind an obstacle, in line with it, distanceM from back to front. A numbered obstacle becomes
// the first of a combination: 7 is 7a then and the new one 7b. It gives the new plan and the new element's name.
export function addElement(plan, id, distanceM) {
  const [, number, letter] = /^(\d+)([a-y]?)$/i.exec(id) ?? [];
  if (number === undefined) return null;
  const first = letter || 'a';
  const next = number + String.fromCharCode(first.charCodeAt(0) + 1);
  if (find(plan, next) || (!letter && find(plan, number + 'a'))) return null;
  let p = letter ? plan : rename(plan, id, number + 'a');
  const from = find(p, number + first);
  const spread = from.spread ?? 0;
  const d = distanceM + spread; // back to front: half of either spread more, middle to middle
  const a = from.facing * Math.PI / 180;
  const o = {...from, id: next, at: [centimetre(from.at[0] + d * Math.sin(a)), centimetre(from.at[1] + d * Math.cos(a))]};
  const route = [...p.route];
  for (let i = route.length - 1; i >= 0; i--) if (route[i] === from.id) route.splice(i + 1, 0, next);
  const i = p.obstacles.indexOf(from);
  return {plan: {...p, obstacles: [...p.obstacles.slice(0, i + 1), o, ...p.obstacles.slice(i + 1)], route}, id: next};
}

// shift moves the i-th of the route by one place, up (-1) or down (1).
export function shift(plan, i, by) {
  const j = i + by;
  if (i < 0 || j < 0 || i >= plan.route.length || j >= plan.route.length) return plan;
  const route = [...plan.route];
  [route[i], route[j]] = [route[j], route[i]];
  return {...plan, route};
}

export const takeOut = (plan, i) => ({...plan, route: plan.route.filter((_, k) => k !== i)});
export const putIn = (plan, id) => ({...plan, route: [...plan.route, id]});

// meant is what the plan says of a way; setLine says otherwise.
export const meant = (plan, from, to) => plan.lines.find(l => l.from === from && l.to === to) ?? {from, to, kind: null, walked: null};
export function setLine(plan, from, to, values) {
  const next = {...meant(plan, from, to), ...values};
  const others = plan.lines.filter(l => !(l.from === from && l.to === to));
  return {...plan, lines: next.kind || next.walked != null ? [...others, next] : others};
}

// along is the place d metres from another towards a bearing; bearing and apart are from one place to another.
export function along(at, deg, d) {
  const a = deg * Math.PI / 180;
  return [at[0] + d * Math.sin(a), at[1] + d * Math.cos(a)];
}
export const bearing = (a, b) => wrap(Math.atan2(b[0] - a[0], b[1] - a[1]) * 180 / Math.PI);
export const apart = (a, b) => Math.hypot(b[0] - a[0], b[1] - a[1]);

// halves is what the spreads of two obstacles take of the distance of their middles: the trade measures from the back
// of the first to the front of the second.
export const halves = (a, b) => ((a.spread ?? 0) + (b.spread ?? 0)) / 2;

// put places an obstacle a tape distance from another: behind it where it comes later in the route, in front of it where
// earlier. deg is the bearing of the way; in line takes that of the other's facing, and turns the obstacle to it.
export function put(plan, id, by, distanceM, {inLine, deg, before}) {
  const o = find(plan, id), from = find(plan, by);
  const way = inLine ? from.facing : deg;
  const at = along(from.at, before ? way + 180 : way, distanceM + halves(o, from));
  return change(plan, id, {at: [tidy(at[0]), tidy(at[1])], ...(inLine ? {facing: from.facing} : {})});
}

// timing is a start or finish line of 8 m across the way to the first obstacle or from the last: 8 m before and 12 m behind,
// within what rule books have (3.6 to 15 m, 7.3 to 15 m).
export function timing(plan, which) {
  const route = jumped(plan);
  const o = find(plan, which === 'start' ? route[0] : route[route.length - 1]);
  const middle = o ? along(o.at, o.facing, which === 'start' ? -(8 + (o.spread ?? 0) / 2) : 12 + (o.spread ?? 0) / 2) : [10, 10];
  const facing = o ? o.facing : 0;
  return [-4, 4].map(d => along(middle, facing + 90, d).map(centimetre));
}

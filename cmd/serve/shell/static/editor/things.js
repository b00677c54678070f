// Everything that stands on the plan and can be taken hold of: obstacles, start and finish, gate and home, spot heights and
// corners of the arena. Each has a key (o:2, start, spot:0, corner:3), a place, and perhaps a facing.

import {along, bearing, centimetre, change, move, tidy, turn, wrap} from './model.js';
import {number, told} from './units.js';
import {obstacleWords, placeWords} from './words.js';

export const keyOf = id => 'o:' + id;
export const idOf = key => key && key.startsWith('o:') ? key.slice(2) : null;
const indexOf = key => Number(key.slice(key.indexOf(':') + 1));

const middle = ([a, b]) => [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];

// things are all that can be taken hold of; corners and spots only while they are worked on.
export function things(plan, {corners, spots}) {
  const out = plan.obstacles.map(o => ({key: keyOf(o.id), kind: 'obstacle', at: o.at, facing: o.facing, obstacle: o}));
  for (const which of ['start', 'finish']) {
    const l = plan[which];
    if (l) out.push({key: which, kind: 'timing', at: middle(l), facing: wrap(bearing(l[0], l[1]) - 90), ends: l});
  }
  for (const which of ['gate', 'home']) if (plan[which]) out.push({key: which, kind: 'place', at: plan[which]});
  plan.levels.forEach((l, i) => out.push({key: 'spot:' + i, kind: 'spot', at: [l[0], l[1]], z: l[2], quiet: !spots}));
  if (corners) (plan.arena ?? []).forEach((c, i) => out.push({key: 'corner:' + i, kind: 'corner', at: c}));
  return out;
}

export const thing = (plan, key) => things(plan, {corners: true, spots: true}).find(t => t.key === key) ?? null;

const replaced = (list, i, v) => list.map((x, k) => k === i ? v : x);

// moved is the plan with a thing at another place.
export function moved(plan, key, x, y) {
  const id = idOf(key);
  if (id !== null) return move(plan, id, x, y);
  const at = [centimetre(x), centimetre(y)];
  if (key === 'start' || key === 'finish') {
    if (!plan[key]) return plan;
    const m = middle(plan[key]);
    return {...plan, [key]: plan[key].map(e => [tidy(e[0] + at[0] - m[0]), tidy(e[1] + at[1] - m[1])])};
  }
  if (key === 'gate' || key === 'home') return {...plan, [key]: at};
  const i = indexOf(key);
  if (key.startsWith('spot:') && plan.levels[i]) return {...plan, levels: replaced(plan.levels, i, [at[0], at[1], plan.levels[i][2]])};
  if (key.startsWith('corner:') && plan.arena?.[i]) return {...plan, arena: replaced(plan.arena, i, at)};
  return plan;
}

// placed is the plan with an obstacle exactly at a place, as snapping found it.
export const placed = (plan, key, at) => idOf(key) !== null ? change(plan, idOf(key), {at}) : moved(plan, key, ...at);

// turned is the plan with a thing that has a facing turned to a bearing.
export function turned(plan, key, deg) {
  const id = idOf(key);
  if (id !== null) return turn(plan, id, deg);
  if ((key === 'start' || key === 'finish') && plan[key]) {
    const m = middle(plan[key]), half = Math.hypot(plan[key][1][0] - plan[key][0][0], plan[key][1][1] - plan[key][0][1]) / 2;
    return {...plan, [key]: [-1, 1].map(s => along(m, deg + 90, s * half).map(tidy))};
  }
  return plan;
}

// without is the plan with a thing taken away.
export function without(plan, key) {
  if (key === 'start' || key === 'finish' || key === 'gate' || key === 'home') return {...plan, [key]: null};
  const i = indexOf(key);
  if (key.startsWith('spot:')) return {...plan, levels: plan.levels.filter((_, k) => k !== i)};
  if (key.startsWith('corner:') && plan.arena.length > 3) return {...plan, arena: plan.arena.filter((_, k) => k !== i)};
  return plan;
}

// nameOf is what a thing is called.
export function nameOf(t) {
  switch (t.kind) {
    case 'obstacle': return t.obstacle.id;
    case 'timing': return t.key === 'start' ? 'Start line' : 'Finish line';
    case 'place': return t.key === 'gate' ? 'Gate' : 'Home';
    case 'spot': return 'Spot height ' + (indexOf(t.key) + 1);
  }
  return 'Corner ' + (indexOf(t.key) + 1);
}

// wordsOf name a thing and where it stands.
export function wordsOf(t, unit) {
  if (t.kind === 'obstacle') return obstacleWords(t.obstacle, unit);
  const more = t.facing !== undefined ? `, facing ${number(t.facing, 0)}°` : t.z !== undefined ? `, ${told(t.z, unit, 2)} high` : '';
  return `${nameOf(t)}, ${placeWords(t.at, unit)}${more}`;
}


// What is said of obstacles and lines, in the page and to screen readers.

import {number, told} from './units.js';

// placeWords is where something stands: 19.5 m right, 36.0 m forward.
export function placeWords([x, y], unit) {
  const d = unit === 'metres' ? 1 : undefined;
  const way = (v, yes, no) => told(Math.abs(v), unit, d) + ' ' + (v < 0 ? no : yes);
  return way(x, 'right', 'left') + ', ' + way(y, 'forward', 'back');
}

// obstacleWords name an obstacle for who can't see it.
export const obstacleWords = (o, unit) => `${o.id}, ${o.kind}, ${placeWords(o.at, unit)}, facing ${number(o.facing, 0)}°`;

// lineName is a way as people call it.
export const lineName = l => `${l.from} to ${l.to}`;

export const asked = l => l.asked.find(a => a.strides === l.whole) ?? null;

// strideWords are the strides of a line: 5 strides (4.9), a bounce.
export function strideWords(l) {
  if (!l.counted) return '';
  if (l.whole === 0) return 'a bounce';
  return `${l.whole} ${l.whole === 1 ? 'stride' : 'strides'} (${number(l.strides.value, 1)})`;
}

// suits is long, tight or right; with a ? where the horse's own stride is not known well enough to be sure, as in the walk.
const suits = a => a.says === 'right' || a.per_stride_m.low > 0 || a.per_stride_m.high < 0 ? a.says : a.says + '?';

// fitWords say whether the line is long or tight for this horse, and by how much a stride.
export function fitWords(l, unit) {
  const a = l.counted ? asked(l) : null;
  if (!a) return '';
  if (a.says === 'right') return 'right';
  return `${suits(a)}, ${told(Math.abs(a.per_stride_m.value), unit)} a stride`;
}

// groundM is the length of a line as it is ridden: for a rollback the planned track, which is the rider's choice.
export const groundM = l => l.ground_m.value;

// shortWords are a line in the drawing: 21.95 m · 5 long.
export function shortWords(l, unit) {
  const d = told(groundM(l), unit, l.counted || unit !== 'metres' ? undefined : 1);
  if (!l.counted) return d;
  const a = asked(l);
  return `${d} · ${l.whole}${a && a.says !== 'right' ? ' ' + suits(a) : ''}`;
}

// lineWords are a line in one sentence.
export function lineWords(l, unit) {
  return [`${lineName(l)}: ${told(groundM(l), unit)}`, strideWords(l), fitWords(l, unit)].filter(Boolean).join(', ');
}

// wayWords are what a rider wants to know of a way beside its length.
export function wayWords(l, unit) {
  const said = [];
  if (l.counted && l.kind !== 'bending') {
    for (const a of l.asked) {
      if (a.strides !== l.whole && a.can_be_ridden) said.push(`or ${a.strides}: ${a.says === 'right' ? 'right' : `${told(Math.abs(a.per_stride_m.value), unit)} ${suits(a)}`}`);
    }
  }
  if (l.radius_min_m !== null && Math.abs(l.turned_deg) >= 1) {
    said.push(`turns ${l.turned_deg > 0 ? 'left' : 'right'} ${number(Math.abs(l.turned_deg), 0)}°, radius ${told(l.radius_min_m, unit, 1)}`);
  }
  if (l.turn && l.turn.longer_m.value >= 1.5) {
    said.push(`cut ${told(l.turn.cut.length_m, unit, 1)}, wide ${told(l.turn.wide.length_m, unit, 1)} and ${number(l.turn.later_s.value, 1)} s later`);
  }
  if (l.grade !== null && Math.abs(l.grade) >= 0.005) said.push(`${l.grade > 0 ? 'rises' : 'falls'} ${number(100 * Math.abs(l.grade), 1)} %`);
  if (l.homeward !== null && Math.abs(l.homeward) > 0.5) said.push(l.homeward > 0 ? 'towards home' : 'away from home');
  if (l.derived && l.why) said.push(`taken as ${l.kind}: ${l.why}`);
  return said.join('; ');
}

// trackWords are the ways to ride a bending line.
export function trackWords(l, unit) {
  return l.tracks.map(t => `on ${t.strides}: ${told(t.length_m, unit)}, ${suits(t)}` +
    (t.outside_m >= 0.3 ? `, bows out ${told(t.outside_m, unit, 1)}` : ', straight') +
    (t.radius_min_m !== null && t.radius_min_m < 60 ? `, radius ${told(t.radius_min_m, unit, 1)}` : '') +
    (t.askew_deg >= 1 ? `, fences ${number(t.askew_deg, 0)}° off square` : ', fences square')).join('; ');
}

const eighth = deg => Math.round(((deg % 360) + 360) % 360 / 45) % 8;
const ways = ['far end', 'far right', 'right', 'near right', 'near end', 'near left', 'left', 'far left'];
const compass = ['north', 'north-east', 'east', 'south-east', 'south', 'south-west', 'west', 'north-west'];

// groundWords say how the ground lies.
export function groundWords(sketch, plan, unit) {
  const g = sketch.ground;
  if (!g) return `No slope: ${sketch.why_level}.`;
  const off = g.residual_max_m < 0.005 ? 'all spot heights lie in one plane' : `spot heights lie up to ${told(g.residual_max_m, unit, 2)} off the plane`;
  if (g.grade < 0.005) return `Level in the middle of the course; ${off}.`;
  const towards = plan.anchor ? `to the ${compass[eighth(g.falls_deg + plan.anchor.bearing)]}` : `towards the ${ways[eighth(g.falls_deg)]} of the plan`;
  return `Falls ${number(100 * g.grade, 1)} % ${towards} in the middle of the course; ${off}.`;
}

// courseWords are the whole course: length and time allowed.
export function courseWords(sketch, unit) {
  const c = sketch.course;
  const words = [`${c.obstacles} ${c.obstacles === 1 ? 'obstacle' : 'obstacles'}, ${c.efforts} ${c.efforts === 1 ? 'effort' : 'efforts'}`];
  if (c.length_m > 0) words.push(`track ${told(c.length_m, unit, 0)}${c.from_start ? '' : ' from the first'}${c.to_finish ? '' : ' to the last obstacle'}`);
  if (c.time_allowed_s !== null) words.push(`time allowed ${number(c.time_allowed_s, 0)} s at ${number(c.speed_m_min, 0)} m/min`);
  else if (c.length_m > 0) words.push(c.speed_m_min === null ? 'no time allowed without a speed' : 'no time allowed without start and finish');
  return words.join('; ');
}

// Snapping: an obstacle that is let near a tape distance of a neighbour in the route goes to it exactly, and near the line
// of a neighbour's facing onto that line. Pure geometry of points; what distance fits how many strides comes from the server.

import {along, apart, bearing, halves, tidy} from './model.js';

// snapMove is where an obstacle wanted at a place goes. near is a list of {other, fits, after}: the neighbour, the tape
// distances that fit ([{strides, distance_m}]), and whether it comes after the obstacle. reachM is how near is near.
// It gives {at, hits}: hits says what was met: {by, strides, distance_m, inLine}.
export function snapMove(o, want, near, reachM) {
  // First onto the line of a neighbour that it nearly stands on and looks along.
  let at = want, lined = null;
  for (const n of near) {
    const along1 = Math.abs(turnDeg(n.other.facing, o.facing)) <= 10;
    if (!along1) continue;
    const a = n.other.facing * Math.PI / 180, u = [Math.sin(a), Math.cos(a)];
    const dx = want[0] - n.other.at[0], dy = want[1] - n.other.at[1];
    const off = dx * u[1] - dy * u[0];
    const ahead = dx * u[0] + dy * u[1];
    if (Math.abs(off) > reachM || (n.after ? ahead > 0 : ahead < 0)) continue;
    if (lined && Math.abs(lined.off) <= Math.abs(off)) continue;
    lined = {n, off, u, ahead};
    at = [n.other.at[0] + ahead * u[0], n.other.at[1] + ahead * u[1]];
  }
  // Then to the distances: of each neighbour the fit that is nearest, if it is near.
  const rings = [];
  for (const n of near) {
    const r = apart(n.other.at, at);
    let best = null;
    for (const f of n.fits) {
      const radius = f.distance_m + halves(o, n.other);
      if (Math.abs(r - radius) <= reachM && (!best || Math.abs(r - radius) < Math.abs(r - best.radius))) best = {n, radius, fit: f};
    }
    if (best) rings.push(best);
  }
  const hit = (ring, inLine) => ({by: ring.n.other.id, after: ring.n.after, strides: ring.fit.strides, distance_m: ring.fit.distance_m, inLine});
  if (lined) {
    const own = rings.find(r => r.n === lined.n);
    if (own) {
      const s = Math.sign(lined.ahead) || 1;
      return {at: tidyAt([lined.n.other.at[0] + s * own.radius * lined.u[0], lined.n.other.at[1] + s * own.radius * lined.u[1]]), hits: [hit(own, true)]};
    }
    return {at: tidyAt(at), hits: [{by: lined.n.other.id, after: lined.n.after, strides: null, distance_m: null, inLine: true}]};
  }
  rings.sort((a, b) => Math.abs(apart(a.n.other.at, at) - a.radius) - Math.abs(apart(b.n.other.at, at) - b.radius));
  if (rings.length >= 2) {
    const both = meet(rings[0].n.other.at, rings[0].radius, rings[1].n.other.at, rings[1].radius)
      .map(p => ({p, d: apart(p, want)})).sort((a, b) => a.d - b.d)[0];
    if (both && both.d <= 2 * reachM) return {at: tidyAt(both.p), hits: [hit(rings[0], false), hit(rings[1], false)]};
  }
  if (rings.length) {
    const r = rings[0];
    const p = apart(r.n.other.at, at) > 0 ? along(r.n.other.at, exactBearing(r.n.other.at, at), r.radius) : at;
    return {at: tidyAt(p), hits: [hit(r, false)]};
  }
  return {at: want, hits: []};
}

// snapTurn is the facing for one that is wanted: that of a neighbour, or straight towards the next and away from the one
// before, where within reachDeg of it; else whole degrees.
export function snapTurn(o, wantDeg, near, reachDeg) {
  let best = null;
  for (const n of near) {
    const towards = n.after ? bearing(o.at, n.other.at) : bearing(n.other.at, o.at);
    for (const [deg, how] of [[n.other.facing, 'as'], [towards, 'to']]) {
      const off = Math.abs(turnDeg(deg, wantDeg));
      if (off <= reachDeg && (!best || off < best.off)) best = {deg, off, by: n.other.id, how};
    }
  }
  return best ? {deg: best.deg, by: best.by} : {deg: Math.round(wantDeg), by: null};
}

export function turnDeg(from, to) {
  let d = (to - from) % 360;
  if (d > 180) d -= 360;
  if (d <= -180) d += 360;
  return d;
}

const exactBearing = (a, b) => Math.atan2(b[0] - a[0], b[1] - a[1]) * 180 / Math.PI;
const tidyAt = p => p.map(tidy);

// meet are the places where two circles meet.
function meet(a, ra, b, rb) {
  const d = apart(a, b);
  if (d === 0 || d > ra + rb || d < Math.abs(ra - rb)) return [];
  const k = (d * d + ra * ra - rb * rb) / (2 * d);
  const h = Math.sqrt(Math.max(0, ra * ra - k * k));
  const u = [(b[0] - a[0]) / d, (b[1] - a[1]) / d];
  return [1, -1].map(s => [a[0] + k * u[0] - s * h * u[1], a[1] + k * u[1] + s * h * u[0]]);
}

// Lengths as people say them. The plan is in metres; heights and spreads of obstacles stay in metres, as in plan files.

export const units = {
  metres: {m: 1, short: 'm', decimals: 2},
  feet: {m: 0.3048, short: 'ft', decimals: 1},
  paces: {m: 0.914, short: 'paces', decimals: 2}, // four make one 12-ft stride
};

const factors = {m: 1, metre: 1, metres: 1, ft: 0.3048, foot: 0.3048, feet: 0.3048, "'": 0.3048, pace: 0.914, paces: 0.914, yd: 0.9144};

// readNumber is a plain number, with a decimal point or comma; null for what is none.
export function readNumber(text) {
  const t = text.trim().replace(/[−–]/, '-').replace(',', '.');
  return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(t) ? Number(t) : null;
}

// readLength is a length in metres: a number in the chosen unit, or with a unit of its own (72 ft, 6 m, 24'6").
export function readLength(text, unit) {
  const t = text.trim().toLowerCase();
  const inches = /^(\d+)\s*(?:'|ft)\s*(\d+(?:[.,]\d+)?)\s*(?:"|in)?$/.exec(t);
  if (inches) return (Number(inches[1]) + Number(inches[2].replace(',', '.')) / 12) * 0.3048;
  const own = /^(.*?)\s*(metres|metre|m|feet|foot|ft|'|paces|pace|yd)$/.exec(t);
  const v = readNumber(own ? own[1] : t);
  return v === null ? null : v * (own ? factors[own[2]] : units[unit].m);
}

// number is a number with so many decimals at most, no dust and no minus zero.
export function number(v, decimals) {
  const s = v.toFixed(decimals);
  return Number(s) === 0 ? (0).toFixed(decimals) : s;
}

// bare is a length without its unit, short for fields: 21.95, 12.
export const bare = (m, unit) => String(Number((m / units[unit].m).toFixed(units[unit].decimals)) + 0);

// told is a length with its unit: 21.95 m.
export const told = (m, unit, decimals = units[unit].decimals) => number(m / units[unit].m, decimals) + ' ' + units[unit].short;

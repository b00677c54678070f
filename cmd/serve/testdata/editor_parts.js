// Checks of the editor's pure parts, run in a browser. Evaluates to a promise of what failed, one line each.
(async () => {
  const from = name => import('/static/editor/' + name + '.js');
  const [model, things, snap, units, words] = await Promise.all(['model', 'things', 'snap', 'units', 'words'].map(from));
  const {createHistory} = await from('history');
  const {createLive} = await from('live');
  const {createDraft} = await from('draft');
  const wrong = [];
  let what = '';
  const about = name => { what = name; };
  const equal = (got, want, more = '') => { if (JSON.stringify(got) !== JSON.stringify(want)) wrong.push(`${what} ${more}: ${JSON.stringify(got)}, expected ${JSON.stringify(want)}`); };
  const near = (got, want, by = 1e-6, more = '') => { if (!(Math.abs(got - want) <= by)) wrong.push(`${what} ${more}: ${got}, expected ${want}`); };
  const holds = (yes, more) => { if (!yes) wrong.push(`${what}: ${more}`); };

  const fence = (id, x, y, facing = 0, spread = null) => ({id, kind: 'vertical', at: [x, y], facing, height: 1, spread, width: 3.5});
  const plan = model.normal({name: 'P', obstacles: [fence('1', 10, 10), fence('2', 10, 32, 0, 1), fence('3', 30, 32, 90)], route: ['1', '2', '3'], lines: [{from: '1', to: '2', kind: 'related', walked: 21.5}, {from: '2', to: '3', kind: null, walked: 19}, {from: '3', to: '1', kind: 'single', walked: null}]});
  const frozen = JSON.stringify(plan);

  about('moving takes the tapes of the old place out');
  let p = model.move(plan, '2', 11.004, 33);
  equal(model.find(p, '2').at, [11, 33]);
  equal(p.lines.map(l => l.walked), [null, null, null]);
  equal(model.turn(plan, '2', 370).lines.map(l => l.walked), [21.5, 19, null], 'turning keeps them');
  equal(model.find(model.turn(plan, '2', -90), '2').facing, 270);
  equal(model.move(plan, '3', 30, 32).lines.map(l => l.walked), [21.5, 19, null], 'no move, no loss');

  about('names');
  p = model.rename(plan, '2', 'B');
  equal([p.route, p.lines[0].to, p.lines[1].from], [['1', 'B', '3'], 'B', 'B']);
  equal(model.rename(plan, '2', '3'), plan, 'a taken name');
  equal(model.nextID(plan), '4');
  equal(model.nextID(model.normal({obstacles: [fence('A', 0, 0), fence('7b', 0, 0)]})), '8');

  about('elements');
  let made = model.addElement(plan, '2', 7.6);
  equal(made.id, '2b');
  equal(made.plan.route, ['1', '2a', '2b', '3']);
  equal(model.find(made.plan, '2b').at, [10, 40.6], 'back to front 7.60 m, half of either spread more');
  equal(model.addElement(made.plan, '2a', 7.6), null, 'there is one already');
  made = model.addElement(made.plan, '2b', 10.5);
  equal(made.id, '2c');
  equal(model.addElement(model.rename(plan, '2', 'oxer'), 'oxer', 7), null, 'no number');

  about('route');
  equal(model.shift(plan, 1, -1).route, ['2', '1', '3']);
  equal(model.shift(plan, 0, -1), plan);
  equal(model.takeOut(plan, 1).route, ['1', '3']);
  equal(model.pairs(model.normal({...plan, route: ['1', '2', '1', '2']})), [['1', '2'], ['2', '1'], ['1', '2']]);
  equal(model.neighbours(plan, '2'), [{id: '1', after: false}, {id: '3', after: true}]);
  equal(model.remove(plan, '2').route, ['1', '3']);
  equal(model.wire(plan).lines.length, 2, 'ways that the route does not have stay at home');
  equal(model.wire(model.takeOut(plan, 1)).lines, []);
  equal(model.jumped(model.normal({...plan, obstacles: [...plan.obstacles, {...fence('9', 0, 0), kind: 'pole'}], route: ['1', '9', '2']})), ['1', '2'], 'poles are no effort');

  about('lines');
  p = model.setLine(plan, '1', '2', {walked: null, kind: null});
  equal(p.lines.length, 2, 'nothing said is not kept');
  equal(model.meant(p, '1', '2'), {from: '1', to: '2', kind: null, walked: null});

  about('putting at a distance');
  p = model.put(plan, '2', '1', 21.95, {inLine: true});
  equal(model.find(p, '2').at, [10, 32.45]);
  p = model.put(plan, '1', '2', 21.95, {inLine: true, before: true});
  equal(model.find(p, '1').at, [10, 9.55]);
  p = model.put(plan, '3', '2', 18, {deg: 90});
  equal(model.find(p, '3').at, [28.5, 32]);
  equal(model.find(p, '3').facing, 90);
  p = model.put(plan, '3', '2', 18, {inLine: true});
  equal([model.find(p, '3').at, model.find(p, '3').facing], [[10, 50.5], 0]);

  about('arena');
  equal(model.asRectangle(model.rectangle(60, 40)), {width: 60, length: 40, x: 0, y: 0});
  equal(model.asRectangle([[0, 0], [60, 0], [60, 40], [1, 40]]), null);
  equal(model.asRectangle([[0, 0], [60, 40], [60, 0], [0, 40]]), {width: 60, length: 40, x: 0, y: 0}, 'in any order of corners');
  equal(model.asRectangle(null), null);

  about('start and finish');
  const start = model.timing(plan, 'start'), finish = model.timing(plan, 'finish');
  near((start[0][1] + start[1][1]) / 2, 2, 1e-6, '8 m before the first');
  near((finish[0][0] + finish[1][0]) / 2, 42, 1e-6, '12 m behind the last');
  p = things.turned({...plan, start}, 'start', 90);
  near(Math.hypot(p.start[1][0] - p.start[0][0], p.start[1][1] - p.start[0][1]), 8, 1e-3);
  near(things.thing(p, 'start').facing, 90, 1e-2);
  p = things.moved({...plan, start}, 'start', 20, 20);
  equal(things.thing(p, 'start').at.map(model.centimetre), [20, 20]);

  about('things');
  p = {...plan, levels: [[1, 2, 0.5]], arena: model.rectangle(60, 40), gate: [30, 0]};
  equal(things.things(p, {corners: true, spots: true}).map(t => t.key), ['o:1', 'o:2', 'o:3', 'gate', 'spot:0', 'corner:0', 'corner:1', 'corner:2', 'corner:3']);
  equal(things.moved(p, 'spot:0', 5, 6).levels, [[5, 6, 0.5]]);
  equal(things.moved(p, 'corner:2', 61, 41).arena[2], [61, 41]);
  equal(things.without(p, 'gate').gate, null);
  equal(things.without({...p, arena: p.arena.slice(0, 3)}, 'corner:0').arena.length, 3, 'three corners at least');
  equal(things.wordsOf(things.thing(plan, 'o:3'), 'metres'), '3, vertical, 30.0 m right, 32.0 m forward, facing 90°');
  equal(JSON.stringify(plan), frozen, 'nothing is changed in place');

  about('history');
  const h = createHistory('a');
  holds(!h.canUndo && !h.canRedo, 'empty');
  h.add('b', 'B'); h.add('c', 'drag', 'k'); h.add('d', 'drag', 'k'); h.settle(); h.add('e', 'drag', 'k');
  equal(h.plan, 'e');
  h.undo(); equal(h.plan, 'd', 'a run is one step');
  h.undo(); equal(h.plan, 'b');
  h.redo(); equal(h.plan, 'd');
  h.add('f', 'F'); holds(!h.canRedo, 'a new change ends what could be done again');
  h.undo(); h.undo(); h.undo(); equal(h.plan, 'a'); holds(!h.canUndo, 'back at the beginning');
  equal(h.undo(), null);
  for (let i = 0; i < 5000; i++) h.add('x' + i, 'x');
  for (let i = 0; i < 5000; i++) h.undo();
  equal(h.plan, 'a', 'five thousand steps');

  about('snapping');
  const fits = [{strides: 4, distance_m: 18.29}, {strides: 5, distance_m: 21.95}];
  const one = {other: fence('1', 10, 10), fits, after: false};
  let s = snap.snapMove(fence('2', 0, 0, 0, 1), [10.2, 32.2], [one], 0.5);
  equal(s.at, [10, 32.45], 'onto the line and to the distance');
  equal(s.hits, [{by: '1', after: false, strides: 5, distance_m: 21.95, inLine: true}]);
  s = snap.snapMove(fence('2', 0, 0, 0, 1), [10.2, 30], [one], 0.5);
  equal(s.at, [10, 30], 'onto the line alone');
  s = snap.snapMove(fence('2', 0, 0, 40, 1), [20, 29.6], [one], 0.6);
  near(Math.hypot(s.at[0] - 10, s.at[1] - 10), 21.95 + 0.5, 1e-3, 'to the distance alone');
  equal(s.hits[0].inLine, false);
  s = snap.snapMove(fence('2', 0, 0, 0), [50, 50], [one], 0.5);
  equal([s.at, s.hits], [[50, 50], []], 'nothing near');
  s = snap.snapMove(fence('2', 0, 0, 0), [10, -12], [{...one, after: true}], 0.5);
  near(s.at[1], 10 - 21.95, 1e-3, 'in front of the next');
  s = snap.snapMove(fence('2', 0, 0, 0), [10.1, -12], [one], 0.5);
  equal(s.hits.some(x => x.inLine), false, 'not onto the wrong side');
  const two = {other: fence('3', 40, 10, 90), fits: [{strides: 4, distance_m: 18.29}], after: true};
  s = snap.snapMove(fence('2', 0, 0, 45), [24.5, 20], [{...one, fits: [{strides: 4, distance_m: 18}]}, two], 1);
  near(Math.hypot(s.at[0] - 10, s.at[1] - 10), 18, 1e-3, 'both distances');
  near(Math.hypot(s.at[0] - 40, s.at[1] - 10), 18.29, 1e-3, 'both distances');
  equal(snap.snapTurn(fence('2', 10, 32, 0), 2, [one], 3), {deg: 0, by: '1'});
  equal(snap.snapTurn(fence('2', 10, 32, 0), 47.6, [one], 3), {deg: 48, by: null});
  near(snap.turnDeg(350, 10), 20);
  near(snap.turnDeg(10, 350), -20);

  about('units');
  for (const [text, unit, m] of [['21.95', 'metres', 21.95], ['21,95', 'metres', 21.95], ['72', 'feet', 21.9456], ['24', 'paces', 21.936], ['72 ft', 'metres', 21.9456], ["24'6\"", 'metres', 7.4676], ['24 ft 6 in', 'metres', 7.4676], ['-3', 'metres', -3], ['−3', 'metres', -3], ['6 m', 'feet', 6], ['.5', 'metres', 0.5], ['5.', 'metres', 5]]) near(units.readLength(text, unit) ?? NaN, m, 1e-9, text);
  for (const text of ['', 'x', '1e5', '1.2.3', '0x10', '5 parsec', 'NaN', 'Infinity', '--1']) equal(units.readLength(text, 'metres'), null, text);
  equal(units.told(21.945, 'metres'), '21.95 m'.replace('21.95', (21.945).toFixed(2)));
  equal(units.told(21.9456, 'feet'), '72.0 ft');
  equal(units.bare(-0.001, 'metres'), '0');

  about('words');
  const e = value => ({value, low: value, high: value});
  const line = {from: '1', to: '2', kind: 'related', counted: true, whole: 5, strides: e(4.92), ground_m: e(21.6), asked: [{strides: 5, says: 'tight', per_stride_m: e(-0.12), can_be_ridden: true}], tracks: [], turn: null, turned_deg: 0, radius_min_m: null, grade: null, homeward: null, derived: false, why: ''};
  equal(words.lineWords(line, 'metres'), '1 to 2: 21.60 m, 5 strides (4.9), tight, 0.12 m a stride');
  equal(words.shortWords(line, 'metres'), '21.60 m · 5 tight');
  const unsure = {...line, asked: [{...line.asked[0], per_stride_m: {value: -0.12, low: -0.5, high: 0.3}}]};
  equal(words.lineWords(unsure, 'metres'), '1 to 2: 21.60 m, 5 strides (4.9), tight?, 0.12 m a stride');
  equal(words.shortWords(unsure, 'metres'), '21.60 m · 5 tight?');
  equal(words.lineWords({...line, counted: false}, 'metres'), '1 to 2: 21.60 m');
  equal(words.strideWords({...line, whole: 0}), 'a bounce');

  about('live');
  const log = [];
  const so = async yes => { for (let i = 0; i < 400 && !yes(); i++) await new Promise(r => setTimeout(r, 10)); };
  let down = false, asked = 0, calledOff = 0;
  const gates = []; // each question waits until it is let through
  const live = createLive({slowMs: 40, giveUpMs: 20000, retryMs: 30,
    send: async (body, signal) => {
      asked++;
      await new Promise((yes, no) => { gates.push(yes); signal.addEventListener('abort', () => { calledOff++; no(new Error('called off')); }); });
      if (down) throw new Error('away');
      return body.bad ? {ok: false, problem: 'bad'} : {ok: true, sketch: body.n};
    },
    shown: ({sketch, revision}) => log.push(`${revision}=${sketch}`), faulty: ({problem, revision}) => log.push(`${revision}!${problem}`), away: () => log.push('away')});
  const through = async () => { await so(() => gates.length); gates.shift()(); };
  for (let i = 1; i <= 10; i++) live.ask(i, {n: i});
  await through(); await so(() => log.length === 1);
  await through(); await so(() => log.length === 2);
  equal(log, ['1=1', '10=10'], 'the first, then the newest');
  equal(asked, 2);
  live.ask(11, {bad: true});
  await through(); await so(() => log.length === 3);
  equal(log.at(-1), '11!bad');
  live.ask(12, {n: 12});
  await new Promise(r => setTimeout(r, 60));
  live.ask(13, {n: 13});
  equal(calledOff, 1, 'a slow one is called off');
  gates.shift();
  await new Promise(r => setTimeout(r, 60));
  live.ask(14, {n: 14});
  equal(calledOff, 1, 'but never two running');
  await through(); await so(() => log.length === 4);
  await through(); await so(() => log.length === 5);
  equal(log.slice(3), ['13=13', '14=14']);
  down = true;
  live.ask(15, {n: 15});
  await through(); await so(() => log.length === 6);
  equal(log.at(-1), 'away');
  down = false;
  await through(); await so(() => log.length === 7);
  equal(log.at(-1), '15=15', 'asked again by itself');

  about('drafts');
  const store = new Map();
  const storage = {getItem: k => store.get(k) ?? null, setItem: (k, v) => store.set(k, v), removeItem: k => store.delete(k)};
  const d = createDraft(storage, 7), other = createDraft(storage, 0);
  equal(d.found(), null);
  d.keep(plan, 'abc', 'now');
  equal(d.found(), {plan, base: 'abc', at: 'now'});
  equal(other.found(), null, 'of another course');
  store.set('groundline course 7', '{broken');
  equal(d.found(), null, 'unreadable');
  d.keep(plan, 'abc', 'now');
  d.keep({...plan, name: 'Q'}, 'abc', 'later', true);
  equal(d.found().at, 'now', 'the first is offered first');
  d.decided();
  equal([d.found().at, store.size], ['later', 1], 'then what was drawn beside it');
  d.decided();
  equal(d.found(), null);
  d.keep(plan, '', '', true);
  d.drop();
  equal(store.size, 0);
  const full = createDraft({getItem() { throw new Error('no'); }, setItem() { throw new Error('full'); }, removeItem() { throw new Error('no'); }}, 1);
  equal([full.keep(plan, '', ''), full.found(), full.drop()], [false, null, undefined], 'no storage');

  return wrong.join('\n');
})()

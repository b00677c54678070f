// What a form can't do by itself: files dropped and gathered, how far sending and working out are, landing on the
// debrief. Without this script the form is sent as it is, and the ride's page looks again by itself.
'use strict';
(() => {
const $ = id => document.getElementById(id);
const size = n => n < 1000 ? n + ' bytes' : n < 999500 ? Math.round(n / 1000) + ' kB' : (n / 1e6).toFixed(1) + ' MB';
const wait = ms => new Promise(done => setTimeout(done, ms));
const make = (name, props, ...within) => { const e = Object.assign(document.createElement(name), props); e.append(...within); return e; };
const aloud = words => { if ($('aloud').textContent !== words) $('aloud').textContent = words; };
const busy = ride => ['waiting', 'working', 'away'].includes(ride.state);

// Times are told in UTC, and here in the reader's own.
const clock = new Intl.DateTimeFormat('en-GB', {day: 'numeric', month: 'long', year: 'numeric', hour: '2-digit', minute: '2-digit', hourCycle: 'h23'});
function ownTimes(within) {
  for (const e of within.querySelectorAll('time')) {
    const p = Object.fromEntries(clock.formatToParts(new Date(e.dateTime)).map(x => [x.type, x.value]));
    e.title = e.textContent;
    e.textContent = `${p.day} ${p.month} ${p.year}, ${p.hour}:${p.minute}`;
  }
}
ownTimes(document);
addEventListener('pageshow', e => { if (e.persisted) location.reload(); }); // come back to: what it shows is old

// How far rides are is asked for, with one question for all: a phone that slept, a network that broke and fifty rides at
// once then need no care. A connection held open for each would use up the few that a browser has.
const followed = new Map(); // by number, whom to tell
let turn = -1;
function follow(id, tell) {
  followed.set(id, tell);
  const runs = turn >= 0;
  turn = 0;
  if (!runs) ask();
}
async function ask() {
  for (; followed.size; turn++) {
    await wait(turn < 15 ? 100 : turn < 40 ? 300 : 1000);
    const ids = [...followed.keys()].slice(0, 100);
    let found;
    try {
      const answer = await fetch('/api/1/rides?id=' + ids.join('&id='), {cache: 'no-store'});
      if (answer.status === 401) return location.reload(); // to sign in again
      if (!answer.ok) throw answer.status;
      found = new Map((await answer.json()).rides.map(ride => [ride.id, ride]));
    } catch {
      turn = 40; // slowly
    }
    for (const id of ids) {
      const ride = !found ? {id, state: 'away'} : found.get(id) || {id, state: 'gone'};
      const tell = followed.get(id);
      if (!busy(ride)) followed.delete(id);
      tell(ride);
    }
  }
  turn = -1;
}

// doing is what is done about a ride, and how far it is, from 0 to 1 where that is known.
function doing(ride) {
  const p = ride.progress;
  if (ride.state === 'away') return ['Kept. The connection is lost; trying again.'];
  if (ride.state === 'waiting') return ['Kept. Waiting for its turn.'];
  if (p && p.done_bytes < p.size_bytes) return ['Reading the files: ' + Math.round(100 * p.done_bytes / p.size_bytes) + ' %', p.done_bytes / p.size_bytes];
  return ['Working out strides and lines.'];
}
function far(bar, share) {
  if (share === undefined) bar.removeAttribute('value');
  else bar.value = share;
}

// The page of a ride that is not ready.
const waiting = $('waiting');
if (waiting) {
  follow(Number(waiting.dataset.ride), ride => {
    if (ride.state === 'gone') location.replace('/');
    else if (!busy(ride)) location.reload();
    else {
      const [words, share] = doing(ride);
      $('doing').textContent = words;
      far($('done'), share);
      aloud(words.replace(/: \d.*/, ''));
    }
  });
}

// Rides of the list that are not ready: their rows are fetched again when they are.
async function renew(id) {
  const row = $('ride-' + id);
  if (!row) return;
  const text = await (await fetch(location.href)).text();
  const fresh = new DOMParser().parseFromString(text, 'text/html').getElementById('ride-' + id);
  if (!fresh) return;
  row.replaceWith(document.adoptNode(fresh));
  ownTimes(fresh);
}
for (const row of document.querySelectorAll('tr[data-busy]')) {
  follow(Number(row.dataset.busy), ride => {
    if (!busy(ride)) renew(ride.id);
    else if (ride.state === 'working') row.querySelector('.told').textContent = 'being worked out';
  });
}

const form = $('hand-in');
if (!form) return;
const input = $('files'), drop = $('drop'), chosen = $('chosen'), underWay = $('under-way'), limit = Number(form.dataset.limit);
let files = [];

// Files come by several ways and from several folders, so each choice adds to those before.
function take(more, folders) {
  for (const f of more) if (!files.some(g => g.name === f.name && g.size === f.size && g.lastModified === f.lastModified)) files.push(f);
  showChosen(folders && folders.length ? folders.join(', ') + ': a folder. Drop or choose the files in it.' : '');
}
function showChosen(say) {
  const all = new DataTransfer();
  for (const f of files) all.items.add(f);
  input.files = all.files;
  chosen.replaceChildren(...files.map(f => {
    const away = make('button', {type: 'button', className: 'plain', textContent: 'Leave out'});
    away.setAttribute('aria-label', 'Leave out ' + f.name);
    away.onclick = () => {
      files = files.filter(g => g !== f);
      showChosen('');
      input.focus();
    };
    return make('li', {}, make('bdi', {textContent: f.name}), make('span', {className: 'quiet', textContent: size(f.size)}), away);
  }));
  const watches = files.filter(f => /\.(gpx|fit|tcx)$/i.test(f.name)).length;
  if (watches > 1) {
    chosen.append(make('li', {className: 'quiet', textContent: watches + ' files of watches: if they are of several rides, say below that each is its own ride.'}));
    document.querySelector('.more').open = true;
  }
  for (const f of files.filter(f => /^(image|video)\//.test(f.type) || /\.(heic|pdf|docx?|xlsx?)$/i.test(f.name))) {
    chosen.append(make('li', {className: 'warn', textContent: f.name + ' looks like a picture or a document, not like a recording.'}));
  }
  if (say) chosen.append(make('li', {className: 'warn', textContent: say}));
  chosen.hidden = !chosen.childElementCount;
  if (say || files.length) aloud(say || (files.length === 1 ? '1 file' : files.length + ' files') + ' chosen');
}
if (input.files.length) take(input.files); // the browser remembers them from before a reload
input.addEventListener('change', () => take(input.files));
drop.addEventListener('click', e => { if (e.target === drop || e.target.closest('.hint')) input.click(); });
const hasFiles = e => !form.hidden && [...e.dataTransfer.types].includes('Files');
addEventListener('dragover', e => {
  if (!hasFiles(e)) return;
  e.preventDefault();
  e.dataTransfer.dropEffect = 'copy';
  drop.classList.add('over');
});
addEventListener('dragleave', e => { if (!e.relatedTarget) drop.classList.remove('over'); });
addEventListener('drop', e => {
  drop.classList.remove('over');
  if (!hasFiles(e)) return;
  e.preventDefault();
  const dropped = [], folders = [];
  for (const item of e.dataTransfer.items) {
    const f = item.kind === 'file' && item.getAsFile();
    if (!f) continue;
    if (item.webkitGetAsEntry && item.webkitGetAsEntry()?.isDirectory) folders.push(f.name);
    else dropped.push(f);
  }
  take(dropped, folders);
  $('send').focus();
});

const name = () => { $('send').textContent = $('each').checked ? 'Debrief each of them' : 'Debrief this ride'; };
$('each').addEventListener('change', name);
name(); // the browser remembers the choice from before a reload
let sending = 0;
addEventListener('beforeunload', e => { if (sending) e.preventDefault(); });

form.addEventListener('submit', e => {
  e.preventDefault();
  const said = new FormData(form), groups = $('each').checked ? files.map(f => [f]) : [files];
  said.delete('file');
  said.delete('each');
  show(form, false);
  underWay.hidden = false;
  underWay.replaceChildren();
  const alone = groups.length === 1;
  const rows = groups.map(group => handIn(group, said, alone));
  const left = [...rows];
  const next = async () => { for (let r; (r = left.shift());) await r.start(); };
  next();
  next(); // two at a time: while the one is written to disk the other is on its way
  if (!alone) {
    const again = make('button', {type: 'button', className: 'second', textContent: 'Hand in more'});
    again.onclick = () => { again.remove(); begin(); };
    underWay.append(make('div', {className: 'actions'}, again));
  }
  underWay.querySelector('button').focus();
});

// show shows the form, and what welcomes above it, or neither.
function show(form, is) {
  for (const e of [form, document.querySelector('.welcome')]) if (e) e.hidden = !is;
}

// begin has the form anew.
function begin() {
  files = [];
  showChosen('');
  show(form, true);
  input.focus();
}

// handIn is one ride on its way: a row with what is going on, and its start.
function handIn(group, said, alone) {
  const names = group.map(f => f.name).join(', ');
  const words = make('p', {className: 'doing', textContent: 'Waiting to be sent.'}), bar = make('progress', {max: 1, value: 0});
  const actions = make('div', {className: 'actions'});
  const row = make('section', {className: 'ride-row'}, make('p', {className: 'names'}, make('bdi', {textContent: names})), words, make('div', {className: 'going'}, bar, actions));
  bar.setAttribute('aria-label', names);
  row.tabIndex = -1;
  // put changes what may be done; whoever was there with the keyboard stays in the row.
  const put = (...what) => {
    const here = actions.contains(document.activeElement);
    actions.replaceChildren(...what);
    if (here) (actions.querySelector('button') || row).focus();
  };
  underWay.append(row);
  const button = (text, act) => {
    const b = make('button', {type: 'button', className: 'second', textContent: text});
    b.onclick = act;
    return b;
  };
  const tell = (text, share) => {
    words.textContent = text;
    far(bar, share);
    aloud((alone ? '' : names + ': ') + text.replace(/: (\d+) %/, (_, n) => n < 25 ? '' : ': ' + n - n % 25 + ' %'));
  };
  // over ends the row: what became of it, and what may be done.
  const over = (text, bad, ...what) => {
    words.replaceChildren(...[].concat(text));
    aloud((alone ? '' : names + ': ') + words.textContent);
    row.classList.toggle('bad', bad);
    bar.hidden = bad;
    far(bar, 1);
    put(...what);
  };
  const others = () => button('Choose other files', () => { row.remove(); begin(); });
  const back = () => button('Back', () => { row.remove(); show(form, true); $('send').focus(); });
  const link = (ride, text) => make('a', {href: ride.page, textContent: text});

  let tried = false;
  function kept(ride) {
    if (ride.already && !tried) {
      const day = iso => new Date(iso).toLocaleDateString('en-GB', {day: 'numeric', month: 'long', year: 'numeric'});
      over(['These files were kept before, on ' + day(ride.kept_at) + ', as ', link(ride, [ride.label || ride.horse || 'a ride', ride.told && ride.told.start ? 'of ' + day(ride.told.start) : ''].join(' ').trim()), '. They are not kept twice. Another horse or course? ', make('a', {href: ride.page + '/details', textContent: 'Change it there'}), '.'],
        false, ...(alone ? [others()] : []));
      return;
    }
    put();
    const follows = now => {
      if (busy(now)) tell(...doing(now));
      else if (now.state === 'gone') over('It was removed meanwhile.', true, ...(alone ? [others()] : []));
      else if (alone) location.assign(ride.page);
      else if (now.state === 'ready') over(['Worked out: ', link(ride, 'to the debrief'), '.'], false);
      else over(['It can\'t be read: ', link(ride, 'what to do'), '.'], true);
    };
    tell(...doing(ride));
    if (busy(ride)) follow(ride.id, follows);
    else follows(ride);
  }
  function start() {
    const total = group.reduce((n, f) => n + f.size, 0);
    if (total > limit) {
      over(size(total) + ' are more than is taken at once, ' + size(limit) + '. ' + (group.length > 1 ? 'Choose the files of one ride.' : 'Cut the recording to the ride.'), true, ...(alone ? [back()] : []));
      return;
    }
    return new Promise(done => {
      const body = new FormData();
      for (const [name, value] of said) body.append(name, value);
      for (const f of group) body.append('file', f, f.name);
      const x = new XMLHttpRequest(); // fetch tells nothing of what is sent
      x.responseType = 'json';
      x.upload.onprogress = e => tell('Sending: ' + Math.floor(100 * e.loaded / e.total) + ' %', e.loaded / e.total);
      x.upload.onload = () => {
        tell('Sent. It is being kept.');
        put(); // too late to cancel
      };
      const again = () => button('Try again', () => { tried = true; row.classList.remove('bad'); bar.hidden = false; start(); });
      x.onload = () => {
        if (x.status === 200 || x.status === 201) kept(x.response);
        else if (x.status === 401 || x.status === 403) over([x.response && x.response.detail || 'You are no longer signed in. ', ' ', make('a', {href: '/', textContent: 'Open the page anew'})], true);
        else over((x.response && x.response.detail || 'It was not taken (' + x.status + ')').replace(/\.?$/, '.'), true, ...(alone ? [back()] : []), again());
      };
      x.onerror = () => over('The connection failed, or a file was changed after it was chosen. Nothing is lost: the files are still chosen.', true, again(), ...(alone ? [back()] : []));
      x.onabort = () => over('Cancelled.', false, ...(alone ? [back()] : []), again());
      x.onloadend = () => { sending--; done(); };
      sending++;
      x.open('POST', '/api/1/rides');
      x.send(body);
      tell('Sending: 0 %', 0);
      put(button('Cancel', () => x.abort()));
    });
  }
  actions.append(button('Cancel', () => { start = () => {}; over('Left out.', false); }));
  return {start: () => start()};
}
})();

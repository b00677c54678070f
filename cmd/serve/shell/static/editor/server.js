// What is asked of the server. All answers are JSON; a refusal is a problem (RFC 9457).

async function post(path, body, {signal, text = false} = {}) {
  const answer = await fetch(path, {method: 'POST', signal, credentials: 'same-origin', headers: {'Content-Type': text ? 'text/plain' : 'application/json'}, body: text ? body : JSON.stringify(body)});
  return answer;
}

// A refusal of a kind that has no JSON, such as one by a proxy, counts as the server being away.
async function told(answer) {
  if (!/json/.test(answer.headers.get('Content-Type') ?? '')) throw new Error('answered ' + answer.status);
  return answer.json();
}

// sketch is {ok, sketch} or {ok: false, problem}; it throws where the server is away.
export async function sketch(body, signal) {
  const answer = await post('/api/1/plan/sketch', body, {signal});
  const value = await told(answer);
  return answer.ok ? {ok: true, sketch: value} : {ok: false, problem: value};
}

export async function read(text) {
  const answer = await post('/api/1/plan/read', text, {text: true});
  const value = await told(answer);
  return answer.ok ? {ok: true, ...value} : {ok: false, problem: value};
}

export async function save(body) {
  const answer = await post('/api/1/plan/save', body);
  const value = await told(answer);
  return {ok: answer.ok, status: answer.status, value};
}

// write is the plan as a file: {ok, blob, name} or {ok: false, problem}.
export async function write(body) {
  const answer = await post('/api/1/plan/write', body);
  if (!answer.ok) return {ok: false, problem: await told(answer)};
  const name = /filename="([^"]*)"/.exec(answer.headers.get('Content-Disposition') ?? '')?.[1] ?? 'course.' + body.format;
  return {ok: true, blob: await answer.blob(), name};
}

export async function horse(id) {
  const answer = await fetch('/api/1/plan/horse/' + encodeURIComponent(id), {credentials: 'same-origin'});
  const value = await told(answer);
  return answer.ok ? {ok: true, file: value.file} : {ok: false, problem: value};
}

// Figures while drawing: one question at a time, the newest plan next. A question that is slow and outdated is called
// off. What comes back says for which state of the plan it is, so older figures never replace newer ones.

// createLive asks with send(body, signal) → Promise of {ok, sketch} or {ok: false, problem}. It calls
// shown({sketch, revision}), faulty({problem, revision}) and away(). slowMs is after what time an outdated question is
// called off (never two running, or a slow machine would see none), giveUpMs after what time the server counts as away, retryMs how long until it is tried again.
export function createLive({send, shown, faulty, away, slowMs = 700, giveUpMs = 6000, retryMs = 2500}) {
  let wanted = null, busy = null, retry = null, last = null, patient = false;
  async function go() {
    const job = wanted;
    wanted = null;
    last = job;
    const stop = new AbortController();
    busy = {job, stop, since: performance.now(), outdated: false, patient};
    patient = false;
    const timer = setTimeout(() => stop.abort(), giveUpMs);
    const mine = busy;
    try {
      const answer = await send(job.body, stop.signal);
      if (answer.ok) shown({sketch: answer.sketch, revision: job.revision});
      else faulty({problem: answer.problem, revision: job.revision});
    } catch (error) {
      if (!mine.outdated) {
        away(error);
        retry = setTimeout(() => { retry = null; if (!wanted && !busy) { wanted = last; go(); } }, retryMs);
      }
    } finally {
      clearTimeout(timer);
      if (busy === mine) {
        busy = null;
        if (wanted) go();
      }
    }
  }
  return {
    ask(revision, body) {
      wanted = {revision, body};
      if (retry !== null) { clearTimeout(retry); retry = null; }
      if (!busy) { go(); return; }
      if (!busy.patient && performance.now() - busy.since > slowMs) {
        const late = busy;
        patient = true;
        late.outdated = true;
        busy = null;
        late.stop.abort();
        go();
      }
    },
    get idle() { return !busy && !wanted; },
  };
}

// Undo and redo: a list of plans, each with what was chosen then. Changes with the same merge key that follow one another
// (a drag, a run of arrow keys, the digits of one number) are one step.

export function createHistory(plan) {
  let past = [], future = [], now = {plan, what: '', key: null, pick: null};
  return {
    get plan() { return now.plan; },
    get canUndo() { return past.length > 0; },
    get canRedo() { return future.length > 0; },
    get undoes() { return past.length ? now.what : ''; },
    get redoes() { return future.length ? future[future.length - 1].what : ''; },
    // add makes a plan the newest. key merges it with the one before; pick is what to choose when it comes back.
    add(next, what, key = null, pick = null) {
      if (next === now.plan) return;
      if (!(key !== null && key === now.key && past.length)) past.push(now);
      now = {plan: next, what, key, pick};
      future = [];
    },
    // settle ends a run of changes: the next one is a step of its own.
    settle() { now = {...now, key: null}; },
    undo() {
      if (!past.length) return null;
      const undone = now;
      future.push(now);
      now = {...past.pop(), key: null};
      return {what: undone.what, pick: undone.pick};
    },
    redo() {
      if (!future.length) return null;
      past.push({...now, key: null});
      now = {...future.pop(), key: null};
      return {what: now.what, pick: now.pick};
    },
    // start forgets all and begins with a plan.
    start(plan) { past = []; future = []; now = {plan, what: '', key: null, pick: null}; },
  };
}

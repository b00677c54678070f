// The draft: what is drawn and not saved, kept by the browser, so that a phone that is closed or runs empty loses nothing.

// createDraft keeps drafts of one course under a key of its own in a storage such as localStorage.
export function createDraft(storage, course) {
  const key = `groundline course ${course || 'new'}`;
  const guarded = (f, otherwise) => { try { return f(); } catch { return otherwise; } }; // a browser may allow no storage, or it is full
  return {
    // keep says whether it worked.
    keep: (plan, base, at) => guarded(() => { storage.setItem(key, JSON.stringify({plan, base, at})); return true; }, false),
    drop: () => guarded(() => storage.removeItem(key)),
    // found is the draft, or null where there is none that can be read.
    found: () => guarded(() => {
      const d = JSON.parse(storage.getItem(key) ?? 'null');
      return d && Array.isArray(d.plan?.obstacles) && Array.isArray(d.plan?.route) ? d : null;
    }, null),
  };
}

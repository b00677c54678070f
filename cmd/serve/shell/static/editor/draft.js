// The draft: what is drawn and not saved, kept by the browser, so that a phone that is closed or runs empty loses nothing.

// createDraft keeps drafts of one course under a key of its own in a storage such as localStorage.
export function createDraft(storage, course) {
  const key = `groundline course ${course || 'new'}`;
  const guarded = (f, otherwise) => { try { return f(); } catch { return otherwise; } }; // a browser may allow no storage, or it is full
  const aside = key + ' aside';
  const read = from => guarded(() => {
    const d = JSON.parse(storage.getItem(from) ?? 'null');
    return d && Array.isArray(d.plan?.obstacles) && Array.isArray(d.plan?.route) ? d : null;
  }, null);
  return {
    // keep says whether it worked. Beside a draft that was found and whose fate is not said yet, it is put aside.
    keep: (plan, base, at, beside = false) => guarded(() => { storage.setItem(beside ? aside : key, JSON.stringify({plan, base, at})); return true; }, false),
    drop: () => guarded(() => { storage.removeItem(key); storage.removeItem(aside); }),
    // decided ends the draft that was found: the one put aside, if any, takes its place.
    decided: () => guarded(() => {
      const other = storage.getItem(aside);
      storage.removeItem(aside);
      if (other === null) storage.removeItem(key);
      else storage.setItem(key, other);
    }),
    // found is the draft, or null where there is none that can be read.
    found: () => read(key) ?? read(aside),
  };
}

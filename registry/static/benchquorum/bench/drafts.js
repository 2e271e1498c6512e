// What is typed stays on this device: saved at each reading, thrown away only after the server's receipt.
// The store's name and shape must not change: drafts outlive an upgrade of these files.
import { openDB } from "../vendor/idb/index.js";

const NAME = "benchquorum", STORE = "drafts";
let opened;

function database() {
  opened ??= openDB(NAME, 1, {
    upgrade(db) {
      db.createObjectStore(STORE, { keyPath: "id" });
    },
  });
  opened.catch(() => { opened = undefined; });
  return opened;
}

// Who is signed in on this page: a phone by the vice has more than one user.
export const who = () => document.body.dataset.who ?? "";

// A draft: {id, who, design, name, url, entries: [[field, value]…], at, saved, state: "open" | "queued" | "refused"}
// The database writes when it pleases; a page closed at once would lose the last reading.  So each draft is
// first written to the journal, at once, and leaves it when the database has it.
const JOURNAL = "benchquorum-draft-";

export async function keep(draft) {
  const text = JSON.stringify({ ...draft, saved: Date.now() });
  const key = JOURNAL + draft.id;
  let noted = false;
  try {
    localStorage.setItem(key, text);
    noted = true;
  } catch {
    // full, or not allowed: the database alone then
  }
  try {
    const db = await database();
    await db.put(STORE, JSON.parse(text));
    if (localStorage.getItem(key) === text) localStorage.removeItem(key);
    return true;
  } catch {
    return noted;
  }
}

function journalled() {
  try {
    return Object.keys(localStorage).filter((key) => key.startsWith(JOURNAL))
      .map((key) => JSON.parse(localStorage.getItem(key)));
  } catch {
    return [];
  }
}

// Those of the person who is signed in, and of nobody in particular.
export async function drafts() {
  let stored = [];
  try {
    const db = await database();
    stored = await db.getAll(STORE);
  } catch {
    // the journal alone then
  }
  const newest = new Map(stored.map((draft) => [draft.id, draft]));
  for (const draft of journalled()) {
    if (!(newest.get(draft.id)?.saved > draft.saved)) newest.set(draft.id, draft);
  }
  return [...newest.values()].filter((draft) => !draft.who || draft.who === who());
}

export async function draftOf(design) {
  const all = await drafts();
  return all.filter((draft) => draft.design === design && draft.state !== "queued").sort((a, b) => b.saved - a.saved)[0];
}

export async function drop(id) {
  localStorage.removeItem(JOURNAL + id);
  try {
    const db = await database();
    await db.delete(STORE, id);
  } catch {
    // it stood in the journal alone
  }
}

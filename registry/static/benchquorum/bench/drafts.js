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
  return opened;
}

// A draft: {id, design, name, url, entries: [[field, value]…], at, saved, state: "open" | "queued" | "refused"}
export async function keep(draft) {
  try {
    const db = await database();
    await db.put(STORE, { ...draft, saved: Date.now() });
    return true;
  } catch {
    return false;
  }
}

export async function drafts() {
  try {
    const db = await database();
    return await db.getAll(STORE);
  } catch {
    return [];
  }
}

export async function draftOf(design) {
  const all = await drafts();
  return all.filter((draft) => draft.design === design && draft.state !== "queued").sort((a, b) => b.saved - a.saved)[0];
}

export async function drop(id) {
  const db = await database();
  await db.delete(STORE, id);
}

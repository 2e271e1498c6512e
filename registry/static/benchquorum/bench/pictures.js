// Pictures wait on the device beside their sheet, in a store of their own: that of the drafts keeps its shape.
import { openDB } from "../vendor/idb/index.js";

const NAME = "benchquorum-pictures", STORE = "pictures";
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

// False where the browser keeps none.  An empty list forgets what was kept.
export async function keepPictures(id, files) {
  try {
    const db = await database();
    if (files.length) await db.put(STORE, { id, files: [...files] });
    else await db.delete(STORE, id);
    return true;
  } catch {
    return files.length === 0;
  }
}

// Null where they can't be read now.
export async function picturesOf(id) {
  try {
    const db = await database();
    return (await db.get(STORE, id))?.files ?? [];
  } catch {
    return null;
  }
}

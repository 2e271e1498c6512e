// KEPT is written above by the server: {version, files}.  Drafts live in the database, never here: an upgrade of
// these files touches no sheet.
const FILES = `benchquorum-files-${KEPT.version}`;
const PAGES = "benchquorum-pages";
const BENCH = /^\/designs\/[0-9a-f-]{36}\/(bench|check)\/$/;
const OFFLINE = "/offline/";
const LIST = "/kept/";
// Charts that somebody chose to keep, as guests see them: offline/store.js puts them there and takes them out.
const CHARTS = "benchquorum-charts";
const TABLES = /^\/designs\/[0-9a-f-]{36}\/offline\.json$/;

self.addEventListener("install", (event) => {
  event.waitUntil((async () => {
    const cache = await caches.open(FILES);
    await cache.addAll(KEPT.files.map((file) => new Request(file, { cache: "reload" })));
    for (const page of [OFFLINE, LIST]) {
      await (await caches.open(FILES)).add(new Request(page, { cache: "reload", credentials: "omit" }));
    }
    await self.skipWaiting();
  })());
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) {
      if (name.startsWith("benchquorum-files-") && name !== FILES) await caches.delete(name);
    }
    await self.clients.claim();
  })());
});

// Signing out forgets the pages that were kept for the person.
self.addEventListener("message", (event) => {
  if (event.data === "forget") event.waitUntil(caches.delete(PAGES));
});

async function page(request) {
  const cache = await caches.open(PAGES);
  const { pathname } = new URL(request.url);
  try {
    const answer = await fetch(request);
    if (answer.ok && !answer.redirected && BENCH.test(pathname)) {
      await cache.put(request, answer.clone()).catch(() => {}); // a full device is no reason to show nothing
    }
    return answer;
  } catch (error) {
    const plain = new URL(request.url);
    plain.searchParams.delete("go_on"); // the same page, with a sheet taken up
    const kept = (await cache.match(plain.href)) ?? (await cache.match(request, { ignoreSearch: true })) ??
      (await chosen(pathname)) ?? (await (await caches.open(FILES)).match(pathname === LIST ? LIST : OFFLINE));
    if (kept) return kept;
    throw error;
  }
}

async function chosen(pathname) {
  return (await caches.open(CHARTS)).match(pathname);
}

async function file(request) {
  try {
    return await fetch(request);
  } catch (error) {
    const kept = await caches.match(request, { ignoreSearch: true });
    if (kept) return kept;
    throw error;
  }
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (request.method !== "GET" || origin !== location.origin) return;
  if (request.mode === "navigate") event.respondWith(page(request));
  else if (KEPT.files.includes(pathname)) event.respondWith(file(request));
  else if (TABLES.test(pathname) && !request.headers.has("X-Asks")) event.respondWith(fetch(request).catch(async () => (await chosen(pathname)) ?? Response.error()));
});

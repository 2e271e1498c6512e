// KEPT is written above by the server: {version, files}.  Drafts live in the database, never here: an upgrade of
// these files touches no sheet.
const FILES = `benchquorum-files-${KEPT.version}`;
const PAGES = "benchquorum-pages";
const BENCH = /^\/designs\/[0-9a-f-]{36}\/(bench|check)\/$/;
const OFFLINE = "/offline/";

self.addEventListener("install", (event) => {
  event.waitUntil((async () => {
    const cache = await caches.open(FILES);
    await cache.addAll(KEPT.files.map((file) => new Request(file, { cache: "reload" })));
    await (await caches.open(PAGES)).add(new Request(OFFLINE, { cache: "reload" }));
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
    if (answer.ok && !answer.redirected && BENCH.test(pathname)) await cache.put(request, answer.clone());
    return answer;
  } catch (error) {
    const kept = (await cache.match(request)) ?? (await cache.match(request, { ignoreSearch: true })) ??
      (await cache.match(OFFLINE));
    if (kept) return kept;
    throw error;
  }
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
});

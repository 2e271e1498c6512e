// What this device keeps: charts with their tables, as guests see them, so that signing out forgets none of it.
const CHARTS = "benchquorum-charts";
const DAYS = 30;

const addresses = (uuid) => [`/designs/${uuid}/`, `/designs/${uuid}/check/`];
export const tablesAt = (uuid) => `/designs/${uuid}/offline.json`;

// Fetch chart, check and tables anew and keep them; true if all are there.
export async function keep(uuid) {
  const cache = await caches.open(CHARTS);
  const found = await Promise.all([...addresses(uuid), tablesAt(uuid)].map(
    async (address) => [address, await fetch(address, { credentials: "omit", cache: "reload" })],
  ));
  if (found.some(([, answer]) => !answer.ok)) return false;
  // All of it is here before anything is replaced: a page closed in between would keep a new chart with old tables.
  const bodies = await Promise.all(found.map(([, answer]) => answer.blob()));
  for (const [n, [address, answer]] of found.entries()) {
    const headers = new Headers(answer.headers);
    headers.set("X-Kept-At", new Date().toISOString());
    await cache.put(address, new Response(bodies[n], { status: 200, headers }));
  }
  return true;
}

// {document, kept: Date} of a chart, from this device; null where it is not kept.
export async function kept(uuid) {
  const answer = await (await caches.open(CHARTS)).match(tablesAt(uuid));
  if (!answer) return null;
  return { document: await answer.json(), kept: new Date(answer.headers.get("X-Kept-At")) };
}

export async function all() {
  const cache = await caches.open(CHARTS);
  const uuids = (await cache.keys()).map((request) => /([0-9a-f-]{36})\/offline\.json$/.exec(request.url)?.[1]).filter(Boolean);
  const found = await Promise.all(uuids.map(async (uuid) => ({ uuid, ...(await kept(uuid)) })));
  return found.sort((one, other) => one.document.name.localeCompare(other.document.name));
}

export async function drop(uuid) {
  const cache = await caches.open(CHARTS);
  for (const address of [...addresses(uuid), tablesAt(uuid)]) await cache.delete(address);
}

// The document as the registry has it now; null without a network.
export async function now(uuid) {
  try {
    const answer = await fetch(tablesAt(uuid), { credentials: "omit", cache: "no-store", headers: { "X-Asks": "now" } });
    return answer.ok ? await answer.json() : null;
  } catch {
    return null;
  }
}

// Whether two documents of one chart say different things about it.
export const differs = (one, other) => one.revision !== other.revision ||
  Boolean(one.withdrawn) !== Boolean(other.withdrawn) || Boolean(one.stale) !== Boolean(other.stale);

// Why a kept chart may no longer hold; "" where nothing is known against it.
export function warning({ document: chart, kept: when }, words) {
  if (chart.withdrawn) return words.withdrawn.replace("{reason}", chart.withdrawn);
  return [chart.stale && words.stale, isOld(when) && words.old].filter(Boolean).join(" ");
}

export const isOld = (date) => Date.now() - date.getTime() > DAYS * 86400e3;
export const day = (date) => new Date(date).toLocaleDateString(document.documentElement.lang, { dateStyle: "medium" });

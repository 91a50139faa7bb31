"use strict";
/* Release {{ version }}: keeps the pages of today and tomorrow on the phone and sends what waits. */
const SHELL_CACHE = "resurf-shell-{{ version }}";
const SHELL = {{ shell|safe }};
const PLACES = {{ places|safe }};
const PATIENCE_MS = 4000;
const SHORT_PATIENCE_MS = 700; // after the network did not answer once
const LONGEST_MS = 25000; // for any answer: what never comes would hold one of the few connections of a browser
const SLOW_FOR_MS = 30000;
const KEPT_MS = 2 * 24 * 3600 * 1000; // a page that belongs to no work of today or tomorrow any more
const DAY_MS = 60000;
const DAY_PATIENCE_MS = 20000;
importScripts(PLACES.queue_script);
const queue = self.resurfQueue;
let slowUntil = 0;
let logOuts = 0;
let lastDay = 0;
let lastOwner = "";

self.addEventListener("install", (event) => {
  event.waitUntil((async () => {
    const cache = await caches.open(SHELL_CACHE);
    await cache.addAll([...SHELL, PLACES.no_signal].map((path) => new Request(path, { cache: "reload" })));
    await self.skipWaiting();
  })());
});

/* No network here: every page would wait for it. The pages ask for the day once this worker is theirs. */
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

/* The shells of earlier releases stay until the pages that need them are kept anew. */
async function shellsForget() {
  for (const name of await caches.keys()) {
    if (name.startsWith("resurf-shell-") && name !== SHELL_CACHE) await caches.delete(name);
  }
}

const isPage = (path) =>
  path === PLACES.today || (path.startsWith("/site/") && path !== PLACES.day && path !== PLACES.queue);

self.addEventListener("fetch", (event) => {
  const request = event.request;
  const url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  if (request.method === "POST" && url.pathname === PLACES.logout) {
    event.respondWith(loggedOut(request));
  } else if (request.method !== "GET") {
    return;
  } else if (isPage(url.pathname)) {
    event.respondWith(page(event, request));
  } else if (SHELL.includes(url.pathname) || url.pathname === PLACES.no_signal) {
    event.respondWith(fromShell(event, request));
  } else if (request.mode === "navigate") {
    event.respondWith(elsewhere(request));
  }
});

/* After the log-out nothing of the member stays but what was not sent, closed. */
async function loggedOut(request) {
  const answer = await fetch(request);
  logOuts += 1; // pages that were asked for before and come after it are not kept
  lastOwner = "";
  if (answer.type === "opaqueredirect" || answer.redirected || answer.ok) await queue.forget();
  return answer;
}

/* The whole answer: one that stops half-way would hold up everything else that is kept. */
async function fromNetwork(request, patience) {
  const stop = new AbortController();
  const timer = patience ? setTimeout(() => stop.abort(), patience) : 0;
  try {
    const answer = await fetch(request, { signal: stop.signal });
    if (answer.type === "opaqueredirect" || answer.redirected || answer.status !== 200) return answer;
    const headers = new Headers(answer.headers);
    for (const name of ["Content-Encoding", "Content-Length"]) headers.delete(name);
    const body = await answer.blob();
    slowUntil = 0;
    return new Response(body, { status: 200, headers });
  } finally {
    clearTimeout(timer);
  }
}

/* The network's answer, or null when it does not come in time; a late one is still kept. */
async function inTime(event, asked) {
  const patience = Date.now() < slowUntil ? SHORT_PATIENCE_MS : PATIENCE_MS;
  event.waitUntil(asked.catch(() => null));
  const late = new Promise((resolve) => setTimeout(resolve, patience, null));
  const answer = await Promise.race([asked.catch(() => null), late]);
  if (!answer) slowUntil = Date.now() + SLOW_FOR_MS;
  return answer;
}

async function page(event, request) {
  const kept = await keptPage(request);
  const asked = pageFrom(request, LONGEST_MS);
  const answer = kept ? await inTime(event, asked) : await asked.catch(() => null);
  if (answer && answer.status < 500) return answer;
  if (kept) return kept;
  if (answer) return answer;
  if (request.mode !== "navigate") return Response.error();
  return (await caches.match(PLACES.no_signal)) || Response.error();
}

/* Pages of the office are never kept; without signal one sentence stands in their place. */
async function elsewhere(request) {
  try {
    return await fetch(request);
  } catch (problem) {
    return (await caches.match(PLACES.no_signal)) || Response.error();
  }
}

async function keptPage(request) {
  for (const name of await caches.keys()) {
    if (!name.startsWith(queue.DAY_CACHE)) continue;
    const found = await (await caches.open(name)).match(request.url, { ignoreVary: true });
    if (found) return found;
  }
  return undefined;
}

/* A page from the network, kept on its way; `kept` says whether it was. */
async function pageFrom(request, patience) {
  const before = logOuts;
  const answer = await fromNetwork(request, patience);
  const owner = answer.headers.get("X-Kept-For");
  answer.kept = Boolean(owner) && answer.status === 200 && !answer.redirected && before === logOuts;
  if (!answer.kept) return answer;
  await queue.pagesForget(owner);
  const cache = await caches.open(queue.DAY_CACHE + owner);
  await cache.put(request.url, answer.clone());
  if (before !== logOuts) await queue.pagesForget(null);
  return answer;
}

async function fromShell(event, request) {
  const answer = await inTime(event, fromNetwork(request, LONGEST_MS));
  if (answer && answer.ok) return answer;
  return (await caches.match(request, { ignoreSearch: true })) || answer || Response.error();
}

async function isOld(cache, request) {
  const kept = await cache.match(request);
  return !kept || Date.now() - Date.parse(kept.headers.get("Date") || 0) > KEPT_MS;
}

/* Keep the page that is open and those of today's and tomorrow's work; let go of those that are over. */
async function dayKept(open, owner) {
  const due = owner !== lastOwner || Date.now() - lastDay > DAY_MS;
  if (due) [lastDay, lastOwner] = [Date.now(), owner];
  const before = logOuts;
  try {
    if (open && isPage(open) && !(await keptPage({ url: new URL(open, self.location.href).href }))) {
      await pageFrom(new Request(open, { cache: "no-store" }), DAY_PATIENCE_MS);
    }
    if (!due) return;
    const wanted = new Request(PLACES.day, { headers: { Accept: "application/json" }, cache: "no-store" });
    const answer = await fromNetwork(wanted, DAY_PATIENCE_MS);
    if (answer.status !== 200) return;
    const day = await answer.json();
    let all = true;
    for (const path of day.pages) {
      if (before !== logOuts) return;
      const found = await pageFrom(new Request(path, { cache: "no-store" }), DAY_PATIENCE_MS);
      all = all && found.kept;
    }
    if (!all || before !== logOuts) return;
    const cache = await caches.open(queue.DAY_CACHE + day.owner);
    const today = new Set(day.pages);
    for (const request of await cache.keys()) {
      if (!today.has(new URL(request.url).pathname) && await isOld(cache, request)) await cache.delete(request);
    }
    await shellsForget();
  } catch (problem) {
    lastDay = 0; // no signal: what is kept stays
  }
}

self.addEventListener("message", (event) => {
  if (event.data && event.data.keep) event.waitUntil(dayKept(event.data.keep, event.data.owner));
});

self.addEventListener("sync", (event) => {
  if (event.tag === queue.NAME) event.waitUntil(sentAll());
});

async function sentAll() {
  const found = await queue.send();
  if (!found.ok && (found.why === "signal" || found.why === "server")) throw new Error(found.why); // tried again later
}

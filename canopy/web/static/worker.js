// Shows the places one needs at the rack while there is no network: the last copy of them, and the files they use.
// What people send waits in the page's own queue (queue.js), never here.
"use strict";
const PAGES = "pages";
const FILES = "files";
const KEPT = ["/snap", "/today"];

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(Promise.all([self.clients.claim(), ...KEPT.map(keep)])));

// The places are kept as soon as the worker is there, whether or not anybody has been to them.
async function keep(path) {
  const answer = await fetch(path).catch(() => null);
  if (answer && answer.ok && !answer.redirected) await (await caches.open(PAGES)).put(path, answer);
}

self.addEventListener("fetch", (event) => {
  const request = event.request;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  if (url.pathname.startsWith("/static/")) event.respondWith(file(request));
  else if (request.mode === "navigate" && KEPT.includes(url.pathname)) event.respondWith(place(request, url.pathname));
});

async function file(request) {
  const kept = await caches.open(FILES);
  const known = await kept.match(request);
  if (known) return known;
  const answer = await fetch(request);
  if (answer.ok) {
    const version = new URL(request.url).pathname.split("/")[2];
    for (const old of await kept.keys()) {
      if (new URL(old.url).pathname.split("/")[2] !== version) await kept.delete(old);
    }
    await kept.put(request, answer.clone());
  }
  return answer;
}

async function place(request, path) {
  const kept = await caches.open(PAGES);
  try {
    const answer = await fetch(request);
    if (answer.ok && !answer.redirected) await kept.put(path, answer.clone());
    return answer;
  } catch (gone) {
    const known = await kept.match(path);
    if (known) return known;
    throw gone;
  }
}

// Keeps a copy of the page that works without a signal, and of what it loads, and gives it where the server is silent.
"use strict";
{% load static %}const KEPT = "carried";
const WAIT_MS = 4000;
const PARTS = ["{% url 'carried' %}", "{% static 'kitting/style.css' %}", "{% static 'kitting/page.js' %}", "{% static 'kitting/carried.js' %}", "{% static 'kitting/mark.svg' %}"];

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(KEPT).then((kept) => kept.addAll(PARTS)).then(() => self.skipWaiting()));
});
self.addEventListener("activate", (event) => { event.waitUntil(self.clients.claim()); });
self.addEventListener("fetch", (event) => {
  const path = new URL(event.request.url).pathname;
  if (event.request.method === "GET" && PARTS.includes(path)) event.respondWith(freshOrKept(event.request, path));
});

async function freshOrKept(request, path) {
  const kept = await caches.open(KEPT);
  try {
    const fresh = await fetch(request, { signal: AbortSignal.timeout(WAIT_MS) });
    if (fresh.ok && !fresh.redirected) await kept.put(path, fresh.clone());
    return fresh;
  } catch (problem) {
    const copy = await kept.match(path);
    if (copy) return copy;
    throw problem;
  }
}

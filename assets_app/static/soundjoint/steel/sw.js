// Keeps the shell of the page, so that it opens without signal. What it keeps is listed in STEEL, put before this file by
// the service; a changed file makes a new edition, kept beside the old one until it is whole.
const SHELL_CACHE = `steel-shell-${self.STEEL.edition}`;
const PHOTOS = "steel-photos";

self.addEventListener("install", (event) => {
  const files = [self.STEEL.page, ...self.STEEL.files].map((url) => new Request(url, { cache: "no-cache" }));
  event.waitUntil(caches.open(SHELL_CACHE).then((cache) => cache.addAll(files)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  event.waitUntil(caches.keys()
    .then((names) => Promise.all(names.filter((name) => name.startsWith("steel-shell-") && name !== SHELL_CACHE).map((name) => caches.delete(name))))
    .then(() => self.clients.claim()));
});

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  if (event.request.mode === "navigate" && url.pathname === self.STEEL.page) event.respondWith(from(SHELL_CACHE, self.STEEL.page, event.request));
  else if (self.STEEL.files.includes(url.pathname)) event.respondWith(from(SHELL_CACHE, url.pathname, event.request));
  else if (url.pathname.startsWith("/api/v1/steel/photos/")) event.respondWith(from(PHOTOS, url.pathname, event.request));
});

async function from(name, key, request) {
  const cache = await caches.open(name);
  return (await cache.match(key)) || fetch(request);
}

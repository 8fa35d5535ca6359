// Keeps the pages of open jobs at hand: the network first, what was seen last without one.
'use strict'
const store = 'bay'
self.addEventListener('install', event => event.waitUntil(caches.open(store).then(c => c.addAll(['/style.css', '/bay.js'])).then(() => self.skipWaiting())))
self.addEventListener('activate', event => event.waitUntil(self.clients.claim().then(async () => {
  // The page that brought the worker was loaded before there was one.
  const c = await caches.open(store)
  for (const client of await self.clients.matchAll()) {
    const u = new URL(client.url)
    if (kept(u)) await c.add(new Request(u.pathname, { headers: { Accept: 'text/html' } })).catch(() => {})
  }
})))
const kept = u => u.origin === self.location.origin && (u.pathname === '/style.css' || u.pathname === '/bay.js' || /^\/jobs\/[0-9][0-9a-z-]+$/.test(u.pathname))
self.addEventListener('fetch', event => {
  const u = new URL(event.request.url)
  // Whoever signs out leaves no page of theirs behind; ticks that wait are kept apart.
  if (event.request.method === 'POST' && u.origin === self.location.origin && u.pathname === '/sign-out') event.waitUntil(caches.delete(store))
  if (event.request.method !== 'GET' || !kept(u)) return
  event.respondWith((async () => {
    const c = await caches.open(store)
    try {
      const answer = await fetch(event.request)
      if (answer.ok && !answer.redirected) await c.put(u.pathname, answer.clone())
      if (answer.status === 401 || answer.status === 403 || answer.redirected) await caches.delete(store)
      return answer
    } catch (e) {
      const old = await c.match(u.pathname)
      if (old) return old
      throw e
    }
  })())
})

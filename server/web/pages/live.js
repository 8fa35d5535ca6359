// Follows the log: when what the page shows is published anew, the page shows it without
// being loaded again, and says so.
(() => {
  'use strict'
  const name = document.body.dataset.follows
  if (!name) return
  const renew = async () => {
    const answer = await fetch(location.href, { headers: { Accept: 'text/html' } })
    if (!answer.ok) return
    const page = new DOMParser().parseFromString(await answer.text(), 'text/html')
    for (const part of ['main', '.for', 'footer']) {
      const now = document.querySelector(part), then = page.querySelector(part)
      if (now && then) now.replaceChildren(...then.childNodes)
    }
    const p = document.createElement('p')
    p.className = 'net'
    p.setAttribute('role', 'status')
    p.textContent = 'Changed just now. This is what holds.'
    document.querySelector('main').prepend(p)
  }
  let follow
  const start = () => {
    if (follow) return
    follow = new EventSource('/v1/log:watch?names=' + encodeURIComponent(name))
    follow.addEventListener('publication', renew)
  }
  const stop = () => { if (follow) { follow.close(); follow = null } }
  document.addEventListener('visibilitychange', () => document.hidden ? stop() : start())
  addEventListener('pagehide', stop)
  if (!document.hidden) start()
})()

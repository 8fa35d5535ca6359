// The bay page: one step a screen, and what is entered goes on without a network. Each
// entry gets its id here, waits in the browser's own storage, and is sent in order until
// the server has answered; the server keeps each id once.
(() => {
  'use strict'
  const job = document.getElementById('job')
  const name = job.dataset.job
  const kept = 'queue:' + name
  const read = () => JSON.parse(localStorage.getItem(kept) || '[]')
  const write = queue => localStorage.setItem(kept, JSON.stringify(queue))
  let step = 0
  let sending = false

  const steps = () => [...document.querySelectorAll('section.step')]
  const show = (n, focus) => {
    const all = steps()
    if (!all.length) return
    step = Math.min(Math.max(n, 1), all.length)
    for (const s of all) s.hidden = Number(s.dataset.step) !== step
    const turn = document.querySelector('nav.turn')
    turn.hidden = false
    document.getElementById('back').disabled = step === 1
    document.getElementById('forward').disabled = step === all.length
    history.replaceState(null, '', '#step-' + step)
    if (focus) { const h = document.querySelector('#step-' + step + ' h2'); h.tabIndex = -1; h.focus() }
  }
  const tell = text => {
    const net = document.getElementById('net')
    net.textContent = text
    net.hidden = !text
  }
  const mark = () => {
    const waiting = new Set(read().map(e => e.step))
    for (const s of steps()) s.querySelector('.waits').hidden = !waiting.has(Number(s.dataset.step))
  }

  // entry turns a form into an event, as the service takes it.
  const entry = (form, button) => {
    const data = new FormData(form, button)
    const e = { request_id: crypto.randomUUID(), kind: data.get('kind'), done_time: new Date().toISOString() }
    for (const [from, to] of [['fastener', 'fastener'], ['text', 'text'], ['wrench', 'wrench'], ['until', 'calibrated_until'], ['thing', 'thing'], ['new_piece', 'new_piece']]) if (data.get(from)) e[to] = data.get(from).trim()
    for (const n of ['step', 'piece']) if (data.get(n)) e[n] = Number(data.get(n))
    if (data.get('clicked')) e.clicked = true
    else if (data.get('value')) {
      let value = data.get('value').trim()
      if (/^\d+([.,]\d+)?$/.test(value) && data.get('unit')) value = value.replace(',', '.') + ' ' + data.get('unit')
      e.value = value
    }
    if (data.getAll('confirmed').length) e.confirmed = data.getAll('confirmed')
    return e
  }

  // renew takes the page as the server has it now, at the step that is shown.
  const renew = async go => {
    const answer = await fetch('/' + name, { headers: { Accept: 'text/html' } })
    if (!answer.ok) return
    const page = new DOMParser().parseFromString(await answer.text(), 'text/html')
    document.getElementById('job').replaceChildren(...page.getElementById('job').childNodes)
    job.dataset.next = page.getElementById('job').dataset.next
    job.dataset.asof = page.getElementById('job').dataset.asof
    bind()
    show(go || step)
    mark()
  }

  const send = async () => {
    if (sending) return
    sending = true
    let refused = []
    let sent = false
    let go = 0
    let said = ''
    try {
      for (let queue = read(); queue.length; queue = read()) {
        const batch = queue.slice(0, 50)
        const answer = await fetch('/v1/' + name + ':record', {
          method: 'POST', headers: { 'Content-Type': 'application/json', Accept: 'application/json' }, body: JSON.stringify({ events: batch }), signal: AbortSignal.timeout(15000)
        })
        if (answer.status === 401 || answer.status === 403) { said = 'Sign in again: ' + queue.length + ' entries wait here.'; break }
        if (!answer.ok) {
          const why = await answer.json().catch(() => ({}))
          if (answer.status >= 500 || answer.status === 429) throw new Error('later')
          refused.push(why.detail || 'the server refuses it')
          write(read().slice(batch.length))
          continue
        }
        const out = await answer.json()
        const done = new Set(batch.map(e => e.request_id))
        write(read().filter(e => !done.has(e.request_id)))
        sent = true
        for (const e of out.events || []) if (e.refused) refused.push((e.step ? 'Step ' + e.step + ': ' : '') + e.refused)
        const last = batch[batch.length - 1]
        if (last.kind === 'stopped' && !refused.length) { location.assign('/' + name + '/tag'); return }
        if (['ticked', 'skipped'].includes(last.kind) && !refused.length && out.job && out.job.next) go = out.job.next
      }
      if (sent) await renew(go)
      tell(said)
    } catch (e) {
      const n = read().length
      tell('No network. Valid as of ' + job.dataset.asof + ' UTC.' + (n ? ' ' + n + (n === 1 ? ' entry waits' : ' entries wait') + ' to be sent.' : ''))
    } finally {
      sending = false
    }
    mark()
    if (refused.length) {
      const p = document.createElement('p')
      p.className = 'problem'
      p.setAttribute('role', 'alert')
      p.textContent = 'Not taken: ' + refused.join('. ') + '.'
      document.querySelector('#job h1').after(p)
      p.scrollIntoView({ block: 'nearest' })
    }
  }

  const bind = () => {
    for (const form of document.querySelectorAll('#job form')) {
      form.addEventListener('submit', event => {
        event.preventDefault()
        for (const p of document.querySelectorAll('#job > .problem[role=alert]')) p.remove()
        const e = entry(form, event.submitter)
        write([...read(), e])
        mark()
        send().then(() => {
          if (read().length && ['ticked', 'skipped'].includes(e.kind)) show(step + 1, true)
        })
      })
    }
    document.getElementById('back').addEventListener('click', () => show(step - 1, true))
    document.getElementById('forward').addEventListener('click', () => show(step + 1, true))
  }

  bind()
  const asked = /^#step-(\d+)$/.exec(location.hash)
  show(asked ? Number(asked[1]) : Number(job.dataset.next) || 1)
  mark()
  addEventListener('online', send)
  addEventListener('hashchange', () => { const to = /^#step-(\d+)$/.exec(location.hash); if (to) show(Number(to[1])) })
  setInterval(() => { if (read().length || !document.getElementById('net').hidden) send() }, 3000)
  if (read().length) send()
  else if (!navigator.onLine) tell('No network. Valid as of ' + job.dataset.asof + ' UTC.')
  if ('serviceWorker' in navigator) navigator.serviceWorker.register('/worker.js')
})()

// Judges the document while it is written: the same check that the button asks for.
(() => {
  'use strict'
  const form = document.getElementById('edit')
  let timer, running = 0
  const check = async () => {
    const mine = ++running
    const data = new URLSearchParams(new FormData(form))
    data.set('action', 'check')
    try {
      const answer = await fetch(form.getAttribute('action'), { method: 'POST', headers: { Accept: 'text/html' }, body: data })
      if (mine !== running || answer.redirected) return
      const page = new DOMParser().parseFromString(await answer.text(), 'text/html')
      const live = page.getElementById('live')
      if (live) document.getElementById('live').replaceChildren(...live.childNodes)
    } catch (e) { /* the button still works */ }
  }
  document.getElementById('document').addEventListener('input', () => { clearTimeout(timer); timer = setTimeout(check, 600) })
})()

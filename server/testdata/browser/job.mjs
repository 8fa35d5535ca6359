// A whole job on a phone: see TestJobInABrowser.
import { spawn } from 'node:child_process'
import { createServer } from 'node:net'
import { accessible, fits, input, open, picture, problem, run } from './browser.mjs'

const free = () => new Promise(done => { const s = createServer().listen(0, '127.0.0.1', () => { const { port } = s.address(); s.close(() => done(port)) }) })
const http = await free()
const grpc = await free()
let server
const start = (...more) => new Promise((up, down) => {
  server = spawn(input.server, ['--http', `127.0.0.1:${http}`, '--grpc', `127.0.0.1:${grpc}`, '--store', input.store, ...more], { env: { ...process.env, [input.variable]: '1' }, stdio: ['ignore', 'pipe', 'inherit'] })
  let said = ''
  server.stdout.on('data', d => { said += d; if (/curl/.test(said)) up(said) })
  server.on('exit', code => down(new Error(`server ended with ${code}: ${said}`)))
})
const kill = () => new Promise(done => { server.removeAllListeners('exit'); server.on('exit', done); server.kill('SIGKILL') })

await run(async browser => {
  const tokens = Object.fromEntries([...(await start('--create', '--demo')).matchAll(/^ {2}(\w+) +(plt_\w+) {2}(\S.*)$/gm)].map(m => [m[1], { secret: m[2], name: m[3] }]))
  const base = `http://127.0.0.1:${http}`
  const phone = async who => {
    const page = await open(browser, 390)
    await page.goto(base + '/jobs')
    await page.getByLabel('Name').fill(who.name)
    await page.getByLabel('Token').fill('plt_wrong')
    await page.keyboard.press('Enter')
    await page.getByText('do not belong together').waitFor()
    await page.getByLabel('Token').fill(who.secret)
    await page.keyboard.press('Enter')
    await page.getByRole('heading', { name: 'Jobs' }).waitFor()
    return page
  }
  const expect = (what, got, want) => { if (got !== want) problem(`${what} is ${JSON.stringify(got)}, want ${JSON.stringify(want)}`) }
  const look = async (page, name) => {
    for (const width of [360, 768, 1280, 390]) {
      await page.setViewportSize({ width, height: 844 })
      await fits(page)
      if (width === 1280) await picture(page, `1280-${name}`)
    }
    await accessible(page)
    await picture(page, `390-${name}`)
  }

  // The door asks what decides, and keeps what was typed.
  const maud = await phone(tokens.editor)
  await look(maud, 'jobs')
  await maud.goto(base + '/jobs/new?procedure=quill-1-rear-hub-bearing')
  expect('the number of questions', await maud.locator('select').count(), 2)
  await look(maud, 'door')
  await maud.getByLabel('Rear brake').selectOption('disc')
  await maud.getByLabel(/Side/).selectOption('left')
  await maud.getByLabel('Plate').fill('<script>alert(1)</script>')
  await maud.getByRole('button', { name: 'Open the job' }).click()
  await maud.getByText('When was the vehicle built?').waitFor()
  expect('the brake after a question', await maud.getByLabel('Rear brake').inputValue(), 'disc')
  await maud.getByLabel('Built').fill('2018-W10')
  await maud.getByRole('button', { name: 'Open the job' }).click()
  await maud.locator('section.step:visible').waitFor()
  const job = new URL(maud.url()).pathname
  const on = n => maud.locator(`#step-${n}:visible h2`).waitFor()
  const api = async page => (await page.evaluate(async path => (await fetch('/v1' + path, { headers: { Accept: 'application/json' } })).json(), job))

  // By keyboard alone.
  const tick = maud.locator('section.step:visible .tick')
  for (let n = 1; n <= 3; n++) {
    await on(n)
    await tick.focus()
    await maud.keyboard.press('Enter')
  }
  await on(4)
  await look(maud, 'bay')

  // What the state forbids is refused and says why.
  await maud.evaluate(() => { location.hash = '#step-10' })
  await on(10)
  await tick.click()
  await maud.getByText(/Not taken: .*cannot be done now/).waitFor()
  await maud.evaluate(() => { location.hash = '#step-4' })
  await on(4)

  // The network goes; work goes on; a reload still shows the page.
  await maud.evaluate(() => navigator.serviceWorker.ready)
  await maud.reload()
  await on(4)
  maud.offline = true
  await maud.context().setOffline(true)
  for (let n = 4; n <= 6; n++) {
    await on(n)
    await tick.click()
  }
  await maud.getByText(/No network. Valid as of .* 3 entries wait/).waitFor()
  await maud.reload()
  await maud.getByText(/No network|3 entries wait/).first().waitFor()
  await picture(maud, '390-bay-offline')
  await maud.context().setOffline(false)
  await maud.waitForFunction(() => !document.querySelector('#net') || document.querySelector('#net').hidden, null, { timeout: 20000 })
  let state = await api(maud)
  expect('the ticks after the network is back', state.steps.filter(s => s.ticked).map(s => s.number).join(), '1,2,3,4,5,6')

  // The server is killed; what is entered waits; it comes back.
  await kill()
  await maud.evaluate(() => { location.hash = '#step-7' })
  await on(7)
  await tick.click()
  await maud.getByText(/No network. Valid as of .* 1 entry waits/).waitFor()
  await on(8)
  await tick.click()
  await maud.getByText(/2 entries wait/).waitFor()
  await start()
  await maud.waitForFunction(() => document.querySelector('#net').hidden, null, { timeout: 20000 })
  maud.offline = false
  state = await api(maud)
  expect('the ticks after the server was killed', state.steps.filter(s => s.ticked).map(s => s.number).join(), '1,2,3,4,5,6,7,8')
  expect('the numbers of the events', state.events.map(e => e.number).join(), state.events.map((e, i) => String(i + 1)).join())
  expect('events sent twice', new Set(state.events.map(e => e.request_id)).size, state.events.length)

  // Stop; the tag says what is open; somebody else takes over, each thing confirmed.
  await maud.getByLabel('Why', { exact: true }).fill('end of shift')
  await maud.getByRole('button', { name: 'Stop here, show the tag' }).click()
  await maud.waitForURL('**/tag')
  if (!/NOT FIT TO DRIVE/.test(await maud.locator('h1').innerText())) problem('the tag does not say NOT FIT TO DRIVE')
  await look(maud, 'tag')
  if (input.pictures) await maud.pdf({ path: `${input.pictures}/tag.pdf`, format: 'A4' })
  const piet = await phone(tokens.reviewer)
  await piet.goto(base + job)
  expect('steps to tick while stopped', await piet.locator('.tick').count(), 0)
  await look(piet, 'bay-stopped')
  for (const box of await piet.getByRole('checkbox').all()) await box.check()
  await piet.getByRole('button', { name: 'I take over' }).click()
  await piet.locator('section.step:visible .tick').waitFor()

  // A value outside its band is open at once; the right one closes it; then the tick.
  state = await api(piet)
  const nut = state.steps.find(s => s.step === 'hub-nut-tighten')
  for (const s of state.steps) {
    if (s.number >= nut.number || s.ticked) continue
    await piet.evaluate(n => { location.hash = '#step-' + n }, s.number)
    await piet.locator(`#step-${s.number}:visible`).waitFor()
    for (let i = 0; i < (s.limits || []).length; i++) {
      await piet.locator(`#step-${s.number} input[inputmode=decimal]`).nth(i).fill('29.99')
      await piet.locator(`#step-${s.number} input[inputmode=decimal]`).nth(i).press('Enter')
      await piet.locator(`#step-${s.number} b:text("29.99 mm")`).waitFor()
    }
    await piet.locator(`#step-${s.number} .tick`).click()
    await piet.locator(`#step-${s.number} .tick`).waitFor({ state: 'detached' })
  }
  await piet.locator(`#step-${nut.number}:visible`).waitFor()
  await look(piet, 'bay-value')
  await piet.getByPlaceholder('N·m').first().fill('290')
  await piet.getByRole('button', { name: 'Enter' }).first().click()
  await piet.locator('.outside .mark:text("290 N.m")').waitFor()
  await piet.locator('.strip summary').click()
  await piet.getByText(/reached 290 N.m, accepted is 216/).waitFor()
  await piet.getByPlaceholder('N·m').first().fill('240')
  await piet.getByRole('button', { name: 'Enter' }).first().click()
  await piet.locator('.mark:text("240 N.m")').waitFor()
  await piet.locator('section.step:visible .tick').click()
  await piet.locator(`#step-${nut.number + 1}:visible`).waitFor()
  const page = await piet.content()
  if (page.includes('<script>alert')) problem('the plate is markup on the bay page')
  await piet.goto(base + '/jobs/moved')
  await look(piet, 'moved')
  // Who signs out leaves no page of the job behind on the device.
  const visited = () => piet.evaluate(async () => { const out = []; for (const k of await caches.keys()) for (const r of await (await caches.open(k)).keys()) out.push(new URL(r.url).pathname); return out.filter(p => p.startsWith('/jobs/')) })
  if ((await visited()).length === 0) problem('no page of the job was kept for a lost network')
  await piet.goto(base + '/sign-in')
  await piet.getByRole('button', { name: 'Sign out on this device' }).click()
  await piet.waitForLoadState()
  if ((await visited()).length > 0) problem(`signing out leaves ${await visited()} on the device`)
  await kill()
})
server.removeAllListeners('exit')
server.kill('SIGKILL')

// A correction from the first key to another open page: see TestDeskInABrowser.
import { accessible, fits, input, open, picture, problem, run } from './browser.mjs'

await run(async browser => {
  const signIn = async (name, token) => {
    const page = await open(browser, 390)
    await page.goto(`${input.base}/sign-in?to=/corrections/new?record=${input.record}`)
    await page.getByLabel('Name').fill(name)
    await page.getByLabel('Token').fill(token)
    await page.keyboard.press('Enter')
    await page.waitForURL(url => url.pathname === '/corrections/new') // the sign-in's own address names it too
    return page
  }
  const look = async (page, name) => {
    for (const width of [360, 768, 1280, 390]) {
      await page.setViewportSize({ width, height: 844 })
      await fits(page)
      if (width === 1280) await picture(page, `1280-${name}`)
    }
    await accessible(page)
    await picture(page, `390-${name}`)
  }
  // Somebody looks at the value, on a page that nobody loads again.
  const reader = await open(browser, 390)
  await reader.goto(`${input.base}/${input.record}`)
  const before = await reader.locator('.big .first').first().innerText()

  const maud = await signIn('Maud Ibbot', input.editor)
  const box = maud.getByRole('textbox', { name: /Document/ })
  const text = await box.inputValue()
  if (!/torque: 62 N\.m/.test(text)) problem(`the document is ${text}`)
  await box.fill(text.replace('torque: 62 N.m', 'torque: 620 N.m'))
  await maud.getByText(/would block publishing/).waitFor()
  await maud.locator('#live svg.window').waitFor()
  await look(maud, 'edit-impossible')
  await box.fill(text.replace('torque: 62 N.m', 'torque: 64 N.m').replace(/also: [^,}\n]*,? ?/, '').replace(/quote: .*/, 'quote: 64 N.m') + 'note: "<script>alert(1)</script>"\n')
  await maud.locator('#live .value', { hasText: '64' }).first().waitFor()
  await maud.getByLabel('Why').fill('sheet 3 read again <script>alert(2)</script>')
  await maud.getByRole('button', { name: 'Propose' }).click()
  await maud.waitForURL(/corrections\/\d/)
  const correction = maud.url()
  await look(maud, 'correction-open')
  await maud.getByRole('button', { name: 'Approve' }).click()
  await maud.locator('.problem, h1').filter({ hasText: /role|token|review/i }).first().waitFor()

  const piet = await signIn('Piet Oram', input.reviewer).catch(() => null)
  const reviewer = piet || await open(browser, 390)
  if (!piet) problem('the reviewer cannot sign in')
  await reviewer.goto(correction)
  if ((await reviewer.content()).includes('<script>alert')) problem('a reason is markup')
  await reviewer.getByRole('button', { name: 'Approve' }).click()
  await reviewer.getByRole('button', { name: 'Publish' }).click({ timeout: 5000 }).catch(async () => problem('not approved: ' + (await reviewer.locator('main').innerText())))
  await reviewer.getByText(/published at position/).first().waitFor().catch(async () => problem('not published: ' + (await reviewer.locator('main').innerText()).slice(0, 400)))
  await reader.getByText('Changed just now').waitFor()
  const after = await reader.locator('.big .first').first().innerText()
  if (before === after || !after.startsWith('64')) problem(`the open page shows ${after} after ${before}`)
  await look(reader, 'value-changed-live')
})

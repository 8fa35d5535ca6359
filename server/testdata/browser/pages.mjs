// Every page at four widths, then the way of a technician from the first page to a
// value and to a sheet, on a phone.
import { accessible, fits, input, open, picture, problem, run } from './browser.mjs'

await run(async browser => {
  const page = await open(browser, 390)
  for (const path of input.paths) {
    const answer = await page.goto(input.base + path)
    const status = answer.status()
    const wanted = input.failing[path] || 200
    if (status !== wanted) problem(`${path} answers ${status}, want ${wanted}`)
    if (wanted === 200 && await page.locator('section.for').count() !== 1) problem(`${path} does not say for which vehicle it is`)
    for (const width of [360, 390, 768, 1280]) {
      await page.setViewportSize({ width, height: 844 })
      await fits(page)
      if (width === 390 || width === 1280 && input.pictures) {
        await accessible(page)
        await picture(page, `${width}${path.replace(/[^a-z0-9]+/gi, '-')}`)
      }
    }
  }
  await page.setViewportSize({ width: 390, height: 844 })
  const tap = async name => {
    await page.getByRole('link', { name }).first().click()
    await page.waitForLoadState()
    await fits(page)
  }
  await page.goto(input.base + '/')
  await tap(/Pell 1\.8/)
  await tap(/^Engine block/)
  await tap(/Connecting rod cap bolt/)
  const big = (await page.locator('.big .first').innerText()).replace(/\s+/g, ' ')
  if (big !== '15 N·m + 90°') problem(`the largest digits of the rod bolt are ${big}`)
  await page.goto(input.base + '/')
  await tap(/Quill 1\.4/)
  await tap(/Rear hub bearing/)
  await tap(/on the screen/)
  if (!/FOR[\s\S]*Vessary Quill 1\.4[\s\S]*NOT FOR/.test(await page.locator('body').innerText())) problem('the sheet does not say for which vehicle it is')
})

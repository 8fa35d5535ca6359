// What the browser tests share: a real chromium, and what must hold on every page.
import { createRequire } from 'node:module'
import { readFileSync } from 'node:fs'

export const input = JSON.parse(process.argv[2])
const require = createRequire(input.npm + '/package.json')
const { chromium } = require('playwright-core')
const axe = readFileSync(require.resolve('axe-core/axe.min.js'), 'utf8')

const problems = []
export const problem = text => { problems.push(text) }

// run opens a browser, does the work and prints the problems for the Go test.
export async function run(work) {
  const browser = await chromium.launch({ executablePath: input.chromium, args: ['--no-sandbox', '--disable-gpu', '--no-first-run', '--disable-background-networking'] })
  try {
    await work(browser)
  } catch (e) {
    problem(String(e.stack || e))
  }
  await browser.close()
  console.log(JSON.stringify(problems))
}

// open makes a page that reports every error of the console, an expected status apart.
export async function open(browser, width, height = 844, options = {}) {
  const context = await browser.newContext({ viewport: { width, height }, ...options })
  const page = await context.newPage()
  page.on('pageerror', e => problem(`${page.url()} throws ${e}`))
  page.on('console', m => {
    if (m.type() === 'error' && !page.offline && !/status of 4\d\d/.test(m.text())) problem(`${page.url()} logs ${m.text()}`)
  })
  return page
}

// fits reports what is wider than the window.
export async function fits(page) {
  const wide = await page.evaluate(() => {
    const width = document.documentElement.clientWidth
    if (document.documentElement.scrollWidth <= width) return null
    const out = []
    for (const e of document.body.querySelectorAll('*')) {
      const r = e.getBoundingClientRect()
      if (r.right > width + 1 && r.width > 0) out.push(`${e.tagName}.${e.getAttribute('class') || ''} to ${Math.round(r.right)}: ${(e.textContent || '').trim().slice(0, 40)}`)
    }
    return `${document.documentElement.scrollWidth} px of content: ${out.slice(0, 3).join(' | ')}`
  })
  if (wide) problem(`${page.url()} scrolls sideways at ${page.viewportSize().width} px: ${wide}`)
}

// accessible reports what axe finds.
export async function accessible(page) {
  await page.evaluate(axe)
  const found = await page.evaluate(() => axe.run({ resultTypes: ['violations'] }))
  for (const v of found.violations) problem(`${page.url()} at ${page.viewportSize().width} px: axe ${v.id}: ${v.nodes.slice(0, 2).map(n => n.html.slice(0, 120)).join(' | ')}`)
}

// picture takes a screenshot where the test wants to be looked at.
export async function picture(page, name) {
  if (input.pictures) await page.screenshot({ path: `${input.pictures}/${name}.png`, fullPage: true })
}

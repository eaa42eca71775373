// The pictures of the guide, taken from the running program: node pictures.mjs LINK REPORT LISTENING OUT
//   LINK of an open desk, paths of a report and of a listening page in one file, folder for the pictures.
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { launch } from './browser.mjs';

const [link, report, listening, out] = process.argv.slice(2);
const browser = await launch();

/** A picture of a page at a size, once `ready` is through with it. */
async function picture(name, address, viewport, ready) {
  const context = await browser.newContext({ viewport, reducedMotion: 'reduce', colorScheme: 'light' });
  const page = await context.newPage();
  await page.goto(address);
  await ready(page);
  await page.screenshot({ path: join(out, `${name}.png`) });
  await context.close();
}

// The desk lets one browser in, once: both of its pictures come from one page.
const context = await browser.newContext({ viewport: { width: 1280, height: 960 }, reducedMotion: 'reduce', colorScheme: 'light' });
const desk = await context.newPage();
await desk.goto(link);
await desk.locator('.map .ribbon').first().waitFor({ state: 'attached' });
// The survey of the whole song brings the silhouettes of the strip.
await desk.waitForFunction(() => document.querySelectorAll('.strip .hill').length > 1 && !/Surveying/.test(document.body.innerText), null, { timeout: 600_000 });
await desk.locator('.strip').getByText('chorus 1', { exact: true }).click();
await desk.keyboard.press('Space');
await desk.waitForTimeout(8_000);
await desk.screenshot({ path: join(out, 'desk.png') });
await desk.keyboard.press('Space');
await desk.locator('.map').getByText('crush', { exact: true }).first().click();
await desk.locator('.card').waitFor();
await desk.waitForTimeout(2_000);
await desk.locator('.card').screenshot({ path: join(out, 'card.png') });
await context.close();

await picture('report', pathToFileURL(report).href, { width: 1000, height: 900 }, (page) => page.waitForTimeout(500));
await picture('listening', pathToFileURL(listening).href, { width: 900, height: 760 }, async (page) => {
  await page.locator('.versions').waitFor();
  await page.waitForTimeout(2_000);
});
await browser.close();

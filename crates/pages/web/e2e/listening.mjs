// One listening from end to end, as `crates/listening/tests/browser.rs` asks for it:
//   node listening.mjs listen ADDRESS OUT SIZE   plays, switches, writes, reads in, approves, votes, sends
//   node listening.mjs answers ADDRESS OUT SIZE  finds the answers on the next page, and plays it
import assert from 'node:assert/strict';
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { launch, open, recorded, violations } from './browser.mjs';

const [act, address, out, size] = process.argv.slice(2);
const NAMES = ['for mastering', 'for approval', 'rough mix'];
const HOSTILE = '<img src=x onerror="globalThis.broken=1"></script><script>globalThis.broken=1</script>';

const browser = await launch();
let { context, page, faults } = await open(browser, size, address, act === 'listen');
const button = (name) => page.getByRole('button', { name, exact: true });
const press = (target) => (size === 'phone' ? target.tap() : target.click());
const frames = () => page.evaluate(() => globalThis.sound.frames);
const heardFor = async (secs) => {
  const until = (await frames()) + secs * (await page.evaluate(() => globalThis.sound.rate));
  await page.waitForFunction((enough) => globalThis.sound.frames >= enough, until, { polling: 50 });
};
const look = (name) => page.screenshot({ path: join(out, `${size}-${name}.png`), fullPage: true });

/** Plays each version, then the difference; keeps what was heard and when each began. */
async function listen() {
  const marks = [];
  const mark = async (what) => marks.push({ what, frame: await frames() });
  // From 5 s on, so that the first version is heard across the seam of two pieces at 10 s.
  await page.locator('.field').focus();
  await page.keyboard.press('ArrowRight');
  await press(button('Play'));
  await page.waitForFunction(() => globalThis.sound.frames > 0);
  // The first start rises over two seconds.
  await heardFor(4);
  await mark(NAMES[0]);
  await heardFor(2);
  for (const name of NAMES.slice(1)) {
    await press(page.locator('.version', { hasText: name }));
    await mark(name);
    await heardFor(1.2);
  }
  await press(page.locator('.version', { hasText: NAMES[1] }));
  await heardFor(0.5);
  await page.getByLabel('Loudness', { exact: true }).selectOption('delivered');
  await mark('delivered');
  assert.match(await page.locator('.why').innerText(), /louder than/);
  await heardFor(2);
  await page.getByLabel('Loudness', { exact: true }).selectOption('matched');
  await mark('end');
  await press(button('Pause'));
  writeFileSync(join(out, `${size}.f32`), await recorded(page));
  const rate = await page.evaluate(() => globalThis.sound.rate);
  writeFileSync(join(out, `${size}.marks.json`), JSON.stringify({ rate, marks }));
}

async function keys() {
  await page.locator('.field').focus();
  await page.keyboard.press('3');
  assert.equal(await page.locator('.version[aria-pressed="true"]').innerText(), NAMES[2]);
  await page.keyboard.press('Home');
  assert.equal(await page.getByRole('slider').getAttribute('aria-valuenow'), '0');
  await page.keyboard.press('ArrowRight');
  assert.equal(await page.getByRole('slider').getAttribute('aria-valuenow'), '5');
  await page.keyboard.press(' ');
  await page.locator('.where', { hasText: '0:06' }).waitFor();
  await page.keyboard.press(' ');
  await button('Play').waitFor();
  await page.keyboard.press('2');
}

/** Where a part of the song lies on the screen, now that the page stands where it stands. */
async function spot(part) {
  await page.locator('.field').scrollIntoViewIfNeeded();
  const box = await page.locator('.field').boundingBox();
  return { x: box.x + box.width * part, y: box.y + box.height / 2 };
}

/** Draws a span over the song, with a finger or with the mouse. */
async function draw(from, to) {
  const [a, b] = [await spot(from), await spot(to)];
  if (size === 'phone') {
    const fingers = await page.context().newCDPSession(page);
    const touch = (type, touchPoints) => fingers.send('Input.dispatchTouchEvent', { type, touchPoints });
    await touch('touchStart', [a]);
    for (const part of [0.25, 0.5, 0.75, 1]) await touch('touchMove', [{ x: a.x + part * (b.x - a.x), y: a.y }]);
    await touch('touchEnd', []);
    // The browser takes a tap right after a stroke for the end of a scroll.
    await page.waitForTimeout(500);
    return;
  }
  await page.mouse.move(a.x, a.y);
  await page.mouse.down();
  await page.mouse.move(b.x, b.y, { steps: 4 });
  await page.mouse.up();
}

/** A note at a moment and one over a span. */
async function write() {
  await page.getByPlaceholder('your name').fill('Mara');
  const middle = await spot(0.5);
  if (size === 'phone') await page.touchscreen.tap(middle.x, middle.y);
  else await page.mouse.click(middle.x, middle.y);
  await page.getByPlaceholder('What do you hear?').fill('Voice up a little.');
  await press(button('Keep this note'));
  await page.locator('.note').waitFor();
  await draw(0.2, 0.3);
  await page.getByPlaceholder('What do you hear?').fill(HOSTILE);
  await press(button('Keep this note'));
  await page.locator('.note').nth(1).waitFor();
  assert.deepEqual(await page.locator('.letter').allInnerTexts(), ['A', 'B']);
  assert.equal(await page.locator('.note .text').first().innerText(), HOSTILE);
  assert.match(await page.locator('.note .head').first().innerText(), /0:04 to 0:06|0:19 to 0:29/);
}

/** Files of others: malformed, false, hostile, and good. */
async function readIn() {
  const file = (value) => ({ name: 'notes.json', mimeType: 'application/json', buffer: Buffer.from(value) });
  const give = async (value, said) => {
    await page.locator('input[type=file]').setInputFiles(file(value));
    await page.locator('.said', { hasText: said }).waitFor();
  };
  const note = { id: 'theo1', who: 'Theo', revision: 'r001', version: NAMES[0], at_secs: 20, text: HOSTILE, written: '2026-11-27T10:00:00Z' };
  const notes = (changed) => JSON.stringify({ fairprint_notes: 1, notes: [{ ...note, ...changed }] });
  await give('{', 'holds no notes');
  await give(notes({ at_secs: -3 }), 'damaged');
  await give(notes({ text: 'x'.repeat(5000) }), 'damaged');
  await give(notes({}), 'One note was read');
  await page.locator('.note').nth(2).waitFor();
  await give(notes({}), 'One note was read');
  assert.equal(await page.locator('.note').count(), 3);
}

/** Votes by the place on the page, so that chance decides; no name may stand anywhere meanwhile. */
async function vote() {
  await press(button('compare blind'));
  await page.getByLabel('Rounds').selectOption('5');
  assert.deepEqual(await violations(page), []);
  await press(button('Begin'));
  const unnamed = async () => {
    const text = await page.content();
    for (const name of NAMES) assert.ok(!text.includes(name), `“${name}” can be read during the ballot`);
  };
  await page.getByLabel('Level of B in dB').fill('0.5');
  await unnamed();
  await press(button('They are equally loud'));
  for (let round = 0; round < 10; round += 1) {
    await unnamed();
    await press(button('Hear B'));
    await press(button('I prefer A'));
    const next = round === 9 ? 'Back to the page' : `Round ${((round + 1) % 5) + 1} of 5`;
    await page.getByText(next).waitFor();
  }
  await page.getByText('As delivered, of 5 rounds').waitFor();
  await look('ballot');
  await press(button('Back to the page'));
  assert.match(await page.locator('.held').innerText(), /At the same loudness, of 5 rounds/);
}

async function approveAndSend() {
  await page.getByLabel('The print to approve').selectOption(NAMES[1]);
  await press(button('I approve'));
  await page.getByText(/approved .*for approval/).waitFor();
  await page.evaluate(() => {
    // A phone's share sheet cannot be driven from here: without it the page saves a file.
    Object.defineProperty(navigator, 'canShare', { value: undefined });
  });
  const coming = page.waitForEvent('download');
  await press(button('Send what I wrote'));
  await (await coming).saveAs(join(out, `${size}.notes.json`));
}

async function answers() {
  assert.match(await page.locator('.notes').innerText(), /Done\. Up by 1 dB from the second line on\./);
  assert.match(await page.locator('.notes').innerText(), /Not done\. It is the bell of the ride\./);
  assert.match(await page.locator('.approved').first().innerText(), /Mara approved for approval of r001/);
  await look('answers');
  await press(button('Play'));
  await page.locator('.where', { hasText: /0:0[1-9]/ }).waitFor();
  await press(button('Pause'));
}

if (act === 'listen') {
  await listen();
  assert.deepEqual(faults, []);
  await context.close();
  // From here on with the page's policy in force.
  ({ context, page, faults } = await open(browser, size, address));
  assert.deepEqual(await violations(page), []);
  await keys();
  await write();
  await readIn();
  await vote();
  await approveAndSend();
  assert.deepEqual(await violations(page), []);
  await look('page');
  await page.reload();
  assert.equal(await page.locator('.note').count(), 3, 'what was written is still there');
} else await answers();
assert.equal(await page.evaluate(() => globalThis.broken), undefined, 'no text of a note runs');
assert.deepEqual(faults, []);
await browser.close();

// The desk in a real browser, as `crates/desk/tests/browser.rs` asks for it:
//   node desk.mjs song LINK OUT   opens, plays, moves, undoes, seeks, loops, saves, prints
//   node desk.mjs forty LINK OUT  a sheet of forty stems is legible, by mouse and by keyboard
import assert from 'node:assert/strict';
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { launch, newContext, recorded, recordSound, violations } from './browser.mjs';

const [act, link, out] = process.argv.slice(2);
const { origin } = new URL(link);
const faults = [];
const figures = {};

const browser = await launch();

/** A page of the desk that keeps count of what it must not do: errors, and requests to anywhere else. */
async function open(context, address) {
  const page = await context.newPage();
  page.on('pageerror', (error) => faults.push(`error: ${error.message}`));
  page.on('console', (message) => {
    if (message.type() === 'error') faults.push(`console: ${message.text()}`);
  });
  page.on('request', (request) => {
    if (!request.url().startsWith(origin) && !/^(data|blob):/.test(request.url())) faults.push(`request: ${request.url()}`);
  });
  const from = performance.now();
  await page.goto(address);
  await page.locator('.map .ribbon').first().waitFor({ state: 'attached' });
  figures.ready_ms ??= performance.now() - from;
  return page;
}

const look = (page, name) => page.screenshot({ path: join(out, `${act}-${name}.png`), fullPage: true });

/** The link works once; the browser that came with it is known from then on. */
async function enter() {
  const first = await newContext(browser, { viewport: { width: 1280, height: 720 } });
  const page = await open(first, link);
  const again = await page.request.get(link, { headers: { cookie: '' } });
  assert.equal(again.status(), 403, 'the link lets in once');
  return { first, page, known: await first.storageState() };
}

/** As it is shipped, policy and all: it plays without running dry. */
async function playsAsShipped(page) {
  await page.keyboard.press('Space');
  await page.waitForFunction(() => document.querySelector('.play')?.textContent === 'Pause');
  const place = () => page.locator('.playhead .time').innerText();
  const before = await place();
  await page.waitForTimeout(1500);
  assert.notEqual(await place(), before, 'the song goes on');
  await page.waitForFunction(() => /LUFS/.test(document.querySelector('.meters dd.steady')?.textContent ?? ''));
  await page.keyboard.press('Space');
  await page.waitForFunction(() => document.querySelector('.play')?.textContent === 'Play');
}

/** Everything that is drawn and written can be used by everyone, by day and by night. */
async function isForEveryone(known) {
  for (const colorScheme of ['light', 'dark']) {
    const context = await newContext(browser, { viewport: { width: 1280, height: 720 }, colorScheme, storageState: known, bypassCSP: true });
    const page = await open(context, origin);
    assert.deepEqual(await violations(page), [], `pictures, ${colorScheme}`);
    await look(page, colorScheme);
    await page.keyboard.press('?');
    assert.equal(await page.evaluate(() => document.querySelector('dialog').scrollTop), 0, 'the list of keys opens at its start');
    assert.deepEqual(await violations(page), [], `keys, ${colorScheme}`);
    await page.keyboard.press('Escape');
    await page.keyboard.press('p');
    await page.locator('.flow').waitFor();
    assert.equal(await page.locator('svg').count(), 0, 'words alone have no picture');
    assert.deepEqual(await violations(page), [], `words, ${colorScheme}`);
    await context.close();
  }
}

/** What was heard, and when what was done. */
function recorder(page) {
  const marks = [];
  const frames = () => page.evaluate(() => globalThis.sound.frames);
  return {
    mark: async (what) => marks.push({ what, frame: await frames() }),
    heardFor: async (secs) => {
      const until = (await frames()) + secs * (await page.evaluate(() => globalThis.sound.rate));
      await page.waitForFunction((enough) => globalThis.sound.frames >= enough, until, { polling: 20 });
    },
    keep: async () => {
      const rate = await page.evaluate(() => globalThis.sound.rate);
      writeFileSync(join(out, 'heard.f32'), await recorded(page));
      writeFileSync(join(out, 'heard.json'), JSON.stringify({ rate, marks }));
    },
  };
}

/** Plays, moves a level, takes it back, goes elsewhere; `crates/desk/tests/browser.rs` judges what was heard. */
async function isHeard(page, { mark, heardFor }) {
  await page.keyboard.press('1');
  await page.keyboard.press('m');
  await page.locator('.listening').getByText('the loudness it is printed at').first().waitFor({ state: 'attached' });
  await page.locator('.name', { hasText: 'voice' }).first().click();
  await page.keyboard.press('Space');
  await page.waitForFunction(() => globalThis.sound?.frames > 0);
  await heardFor(2.4);
  await mark('start');
  await heardFor(1.2);
  const level = page.locator('.card').getByRole('spinbutton', { name: 'level', exact: true });
  await level.focus();
  await mark('moved');
  await page.keyboard.press('PageDown');
  await heardFor(0.6);
  assert.equal(await level.getAttribute('aria-valuetext'), '−3 dB');
  assert.match(await page.locator('.head').innerText(), /undo\s*level of voice 0 dB → −3 dB/);
  await mark('settled');
  await heardFor(0.8);
  await page.keyboard.press('Control+z');
  await heardFor(0.6);
  assert.equal(await level.getAttribute('aria-valuetext'), '0 dB');
  await mark('undone');
  await heardFor(0.8);
  // How soon a move is heard depends on what else the machine does just then: it is tried three times.
  for (const again of ['moved again', 'moved once more']) {
    await mark(again);
    await page.keyboard.press('PageDown');
    await heardFor(0.5);
    await page.keyboard.press('Control+z');
    await heardFor(0.6);
    assert.equal(await level.getAttribute('aria-valuetext'), '0 dB');
  }
  await page.keyboard.press('Escape');
  await page.locator('.sections button', { hasText: 'chorus' }).click();
  await heardFor(0.8);
  await mark('chorus');
  await heardFor(1);
  await page.keyboard.press('2');
  await heardFor(0.3);
  await mark('switched');
  await heardFor(0.6);
  await mark('end');
  // A section was clicked before: Space plays and pauses all the same.
  await page.keyboard.press('Space');
  await page.waitForFunction(() => document.querySelector('.play')?.textContent === 'Play');
  figures.dry = /ran dry (once|\d+)/.exec(await page.locator('.meters').innerText())?.[1] ?? 'never';
}

/** What a codec makes of the song takes the place of the plain sound while it plays, and the sentence says so. */
async function isEncoded(page) {
  await page.keyboard.press('v');
  // On a quick machine it is encoded before anybody could see that it was not.
  await page.getByText(/plain until it is encoded|encoded and decoded, in step/).waitFor();
  await page.getByRole('combobox', { name: 'Heard through: rate' }).selectOption('96');
  await page.keyboard.press('Escape');
  await page.keyboard.press('0');
  await page.keyboard.press('Space');
  await page.getByText('encoded and decoded, in step').waitFor();
  await look(page, 'codec');
  await page.keyboard.press('v');
  await page.getByText('encoded and decoded').waitFor({ state: 'detached' });
  await page.keyboard.press('Space');
  await page.waitForFunction(() => document.querySelector('.play')?.textContent === 'Play');
}

/** A blind test of a print against itself in mono: five rounds, always answered with A. */
async function isToldApart(page, { mark, heardFor }) {
  await page.keyboard.press('1');
  await page.keyboard.press('o');
  await page.getByRole('button', { name: 'blind test' }).click();
  const rounds = page.getByRole('spinbutton', { name: 'Rounds' });
  await rounds.fill('5');
  await rounds.press('Enter');
  await look(page, 'blind-question');
  assert.deepEqual(await violations(page), [], 'the question of a blind test');
  await page.getByRole('button', { name: 'Begin' }).click();
  await page.getByRole('button', { name: 'Listen to X' }).waitFor();
  for (const what of ['a', 'b']) {
    await page.keyboard.press(what);
    await heardFor(1.3);
    await mark(what);
    await heardFor(0.7);
  }
  for (let round = 0; round < 5; round += 1) {
    await page.getByText(`Round ${round + 1} of 5`).waitFor();
    await page.keyboard.press('x');
    await page.locator('.three [aria-pressed=true]').waitFor();
    await heardFor(0.4);
    await mark(`x${round}`);
    await heardFor(0.2);
    if (round === 2) {
      for (const colorScheme of ['dark', 'light']) {
        await page.emulateMedia({ colorScheme });
        await look(page, `blind-round-${colorScheme}`);
        assert.deepEqual(await violations(page), [], `a round of a blind test, ${colorScheme}`);
      }
    }
    await page.keyboard.press('Shift+A');
  }
  await page.getByText(/^Right in \d of 5 rounds/).waitFor();
  await look(page, 'blind-outcome');
  await page.getByRole('button', { name: 'Back to the song' }).click();
  await page.keyboard.press('o');
  await page.locator('.listening').waitFor();
}

/** Number fields, the ear, loops, the sheet's mute, and what is saved. */
async function isWorked(page) {
  await page.locator('.name', { hasText: 'crush' }).first().click();
  await page.keyboard.press('a');
  await page.getByText('You hear crush alone').waitFor();
  await page.keyboard.press('e');
  await page.getByText('You hear crush alone').waitFor({ state: 'detached' });
  await page.keyboard.press('l');
  await page.waitForFunction(() => document.querySelector('[aria-label="At the end of the passage"]').value === 'loop');
  await page.keyboard.press('l');
  const threshold = page.getByRole('spinbutton', { name: 'threshold', exact: true });
  await threshold.fill('-28.5');
  await threshold.press('Enter');
  await page.keyboard.press('ArrowUp');
  await page.keyboard.press('ArrowUp');
  await page.waitForFunction(() => /−27.5 dB$/.test(document.querySelector('.head .act i')?.textContent ?? ''));
  await page.locator('.name', { hasText: 'voice' }).first().click();
  await page.getByRole('combobox', { name: 'voice goes to' }).selectOption('band');
  await page.getByText('voice goes to band instead of mix').first().waitFor();
  await page.getByRole('button', { name: /^undo/ }).click();
  await page.keyboard.press('Control+s');
  await page.getByText('sheet.toml is saved').waitFor();
  await page.keyboard.press('r');
  await page.waitForFunction(() => /^Momentary .*correlation|^Momentary/.test(document.querySelector('[aria-live=polite]')?.textContent ?? ''));
}

/** Tab goes from group to group, arrows go within one: few stops for a whole page. */
async function isWalked(page) {
  figures.stops = await page.evaluate(
    () => [...document.querySelectorAll('button, select, input, summary, a[href], [tabindex]')].filter((one) => one.tabIndex >= 0 && !one.disabled && one.checkVisibility()).length,
  );
  assert.ok(figures.stops <= 13, `${figures.stops} stops`);
  const held = () => page.evaluate(() => document.activeElement.getAttribute('aria-label') ?? document.activeElement.textContent);
  await page.keyboard.press('h');
  assert.equal(await held(), 'Programme');
  await page.keyboard.press('ArrowRight');
  assert.equal(await held(), 'Loudness');
  await page.keyboard.press('End');
  assert.equal(await held(), 'blind test');
  await page.keyboard.press('ArrowLeft');
  await page.keyboard.press('ArrowLeft');
  await page.keyboard.press('Tab');
  assert.equal(await held(), 'Place in the song');
  await page.keyboard.press('Shift+Tab');
  assert.equal(await held(), 'Monitor level', 'a group is entered where it was left');
  // While a figure is written, the arrows move in it; they step it up and down, and go on once it stands.
  await page.keyboard.type('-20');
  await page.keyboard.press('ArrowLeft');
  assert.equal(await held(), 'Monitor level');
  await page.keyboard.press('Escape');
  await page.keyboard.press('ArrowLeft');
  assert.equal(await held(), 'At the end of the passage');
}

/** What a part adds is said of the card that lies open; a number of it is let ride, and drawn. */
async function isWeighedAndRidden(page) {
  await page.locator('.name', { hasText: 'crush' }).first().click();
  const row = page.locator('.adds').getByRole('row', { name: /^crush/ });
  await row.waitFor();
  assert.match(await row.innerText(), /^crush\s+[+−]?\d+\.\d/);
  assert.match(await page.locator('header .adds').innerText(), /^Against for (mastering|approval) without it, in \S+: it (adds|takes|changes) /);
  const begin = page.getByRole('combobox', { name: 'Let a number move over the song' });
  const lines = page.locator('.rides').getByText(/^Over the song its/);
  await begin.selectOption({ label: 'level' });
  await lines.first().waitFor();
  await begin.selectOption({ label: 'threshold of the compressor' });
  await page.locator('.rides').getByText('Over the song its threshold of the compressor stays at').waitFor();
  assert.equal(await page.locator('svg.ride .point').count(), 1);
  assert.match(await page.locator('svg.ride').innerHTML(), /−27.5 dB/, 'the new ride is drawn');
  await page.getByRole('button', { name: 'drawn on the song' }).first().click();
  await page.waitForFunction(() => /−20 dB/.test(document.querySelector('svg.ride').innerHTML));
  await page.keyboard.press('Control+z');
  await page.keyboard.press('Control+z');
  await page.locator('svg.ride').waitFor({ state: 'detached' });
}

/** Whoever reads a sound level meter is told what adds up; each octave shows its correlation. */
async function isCountedUp(page) {
  const level = page.getByRole('textbox', { name: 'Level at your ears, in dBA' });
  assert.ok(await level.isDisabled(), 'there is nothing to read while it rests');
  await page.keyboard.press('l');
  await page.locator('.play').click();
  await page.locator('.octaves').getByText(/^least .* at/).waitFor();
  await level.fill('76');
  await level.press('Enter');
  await page.getByText(/At your ears it is about \d+ dBA now/).waitFor();
  await look(page, 'exposure');
  assert.deepEqual(await violations(page), [], 'exposure and octaves');
  await page.locator('.play').click();
  await page.keyboard.press('l');
  await page.waitForFunction(() => document.querySelector('[aria-label="At the end of the passage"]').value === 'on');
}

/** What was just printed can be heard beside what it is now. */
async function isHeardAgain(page) {
  const programme = page.getByRole('combobox', { name: 'Programme' });
  await page.keyboard.press('1');
  await programme.locator('option', { hasText: 'for mastering of r001' }).waitFor({ state: 'attached' });
  await page.keyboard.press('n');
  await page.waitForFunction(() => document.querySelector('[aria-label="Programme"]').value === 'for mastering of r001');
  await look(page, 'earlier');
  await page.keyboard.press('n');
  await page.waitForFunction(() => document.querySelector('[aria-label="Programme"]').value === 'for mastering');
}

/** The sheet is kept under a name, told apart from what it has become, and gone back to. */
async function isKept(page) {
  await page.getByRole('textbox', { name: 'Name of the version' }).fill('its own key');
  await page.keyboard.press('Enter');
  const versions = page.locator('.versions');
  await versions.getByText('its own key', { exact: true }).waitFor();
  await page.locator('.name', { hasText: 'crush' }).first().click();
  const key = page.getByRole('combobox', { name: 'compressor listens to' });
  assert.ok(!(await key.innerText()).includes('crush'), 'nothing listens to what it feeds');
  await key.selectOption('voice');
  await page.waitForFunction(() => /compressor of crush listens to voice/.test(document.querySelector('.head .act i')?.textContent ?? ''));
  await versions.getByRole('button', { name: 'what changed since “its own key”' }).click();
  await versions.getByText('crush: compressor listens to itself → voice').waitFor();
  // Rendered behind the scenes, it is one key away, matched and in step.
  await page.keyboard.press('Escape');
  await page.keyboard.press('t');
  await versions.getByRole('button', { name: 'hear it (t): its own key' }).waitFor();
  const hears = (name) => page.waitForFunction((one) => document.querySelector('[aria-label="Programme"]').value === one, name);
  await page.keyboard.press('t');
  await hears('for mastering of version “its own key”');
  await look(page, 'version');
  assert.deepEqual(await violations(page), [], 'a version is heard');
  await page.keyboard.press('t');
  await hears('for mastering');
  await versions.getByRole('button', { name: 'go back to it: its own key' }).click();
  await page.waitForFunction(() => document.querySelector('[aria-label="compressor listens to"]').value === '');
  await page.keyboard.press('Escape');
  await page.keyboard.press('Control+z');
  await page.waitForFunction(() => document.querySelector('[aria-label="compressor listens to"]').value === 'voice');
  await page.keyboard.press('Control+z');
}

/** After an edit the page is told little, and where a message was lost it asks for all. */
async function isToldWhatChanged(known) {
  const context = await newContext(browser, { viewport: { width: 1280, height: 720 }, storageState: known, bypassCSP: true });
  const told = [];
  let loses = false;
  await context.routeWebSocket(/\/talk$/, (page) => {
    const desk = page.connectToServer();
    desk.onMessage((message) => {
      const { tell } = JSON.parse(message);
      if (tell === 'view' || tell === 'changed') told.push([tell, message.length]);
      if (tell === 'changed' && loses) loses = false;
      else page.send(message);
    });
  });
  const page = await open(context, origin);
  await page.locator('.name', { hasText: 'voice' }).first().click();
  await page.locator('.card').getByRole('spinbutton', { name: 'level', exact: true }).focus();
  const undone = (words) => page.waitForFunction((end) => document.querySelector('.head .act i')?.textContent.endsWith(end), words);
  await page.keyboard.press('ArrowUp');
  await undone('0 dB → 0.5 dB');
  figures.view_bytes = told[0][1];
  figures.edit_bytes = told.at(-1)[1];
  assert.ok(told.at(-1)[0] === 'changed' && figures.edit_bytes < 2000, `${figures.edit_bytes} bytes after an edit`);
  loses = true;
  await page.keyboard.press('ArrowUp');
  await page.keyboard.press('ArrowUp');
  await undone('0 dB → 1.5 dB');
  assert.equal(told.at(-1)[0], 'view', 'all is told where something was lost');
  await page.keyboard.press('Control+z');
  await page.getByRole('button', { name: /^redo\s*level of voice/ }).waitFor();
  await context.close();
}

async function isPrinted(page) {
  await page.getByRole('button', { name: 'print', exact: true }).click();
  const report = page.getByRole('link', { name: 'Open its report' });
  await report.waitFor();
  const answer = await page.request.get(new URL(await report.getAttribute('href'), origin).href);
  assert.equal(answer.status(), 200);
  assert.match(await answer.text(), /Lantern Weather/);
}

async function song() {
  const { first, page, known } = await enter();
  await playsAsShipped(page);
  await first.close();
  await isForEveryone(known);
  const context = await newContext(browser, { viewport: { width: 1280, height: 720 }, storageState: known, bypassCSP: true });
  await context.addInitScript(recordSound);
  const heard = await open(context, origin);
  const ears = recorder(heard);
  await isHeard(heard, ears);
  await isToldApart(heard, ears);
  await ears.keep();
  await isEncoded(heard);
  // The sheet is printed as it was saved: as it was heard.
  await isPrinted(heard);
  await isHeardAgain(heard);
  await isCountedUp(heard);
  await isWorked(heard);
  await isWeighedAndRidden(heard);
  await isKept(heard);
  await isToldWhatChanged(known);
  await isWalked(heard);
  await look(heard, 'end');
}

/** Names of stems neither overlap nor leave the map. */
async function isLegible(page) {
  const boxes = await page.locator('.name').evaluateAll((names) =>
    names.map((name) => {
      const { left, right, top, bottom } = name.querySelector('.text').getBoundingClientRect();
      return { name: name.dataset.id, left, right, top, bottom };
    }),
  );
  for (const [i, a] of boxes.entries()) {
    for (const b of boxes.slice(i + 1)) {
      const over = Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1 && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 3;
      assert.ok(!over, `${a.name} and ${b.name} overlap`);
    }
  }
  return boxes.map((box) => box.name);
}

async function forty() {
  const context = await newContext(browser, { viewport: { width: 1280, height: 720 }, bypassCSP: true });
  const page = await open(context, link);
  const closed = await isLegible(page);
  const bundle = closed.find((name) => name.startsWith('stems of '));
  assert.ok(bundle, 'stems of a bus are one ribbon where there are many');
  assert.deepEqual(await violations(page), []);
  await look(page, 'bundled');
  await page.locator(`[data-id="${bundle}"]`).click();
  await page.locator(`[data-id="${bundle}"]`).waitFor({ state: 'detached' });
  const opened = await isLegible(page);
  assert.equal(opened.length, closed.length + 4, 'it opens on demand');
  // One stop for the whole map, and arrows along the flow: from a stem to the print.
  assert.equal(await page.locator('.map [tabindex="0"]').count(), 1);
  await page.keyboard.press('f');
  await page.keyboard.press('Home');
  for (let i = 0; i < 6; i += 1) await page.keyboard.press('ArrowRight');
  assert.equal(await page.evaluate(() => document.activeElement.dataset.id), 'for mastering');
  await look(page, 'opened');
  await page.keyboard.press('Space');
  await page.waitForTimeout(1000);
  figures.frames_a_second = await page.evaluate(
    () =>
      new Promise((done) => {
        const from = performance.now();
        let count = 0;
        const next = (now) => {
          count += 1;
          if (now - from > 2000) done((count / (now - from)) * 1000);
          else requestAnimationFrame(next);
        };
        requestAnimationFrame(next);
      }),
  );
  await look(page, 'playing');
}

await (act === 'forty' ? forty() : song());
assert.deepEqual(faults, []);
await browser.close();
process.stdout.write(JSON.stringify(figures));

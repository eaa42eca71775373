// A headless browser at the size of a desk and of a phone, with everything that a page may not do held against it.
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { chromium } from 'playwright-core';

const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');

export const SIZES = {
  desk: { viewport: { width: 1280, height: 900 } },
  phone: { viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true, deviceScaleFactor: 2 },
};

export async function launch() {
  const executablePath = process.env.FAIRPRINT_CHROMIUM;
  const args = ['--no-sandbox', '--disable-gpu', '--autoplay-policy=no-user-gesture-required', '--no-first-run'];
  const quiet = ['--disable-background-networking', '--disable-component-update', '--disable-sync'];
  return chromium.launch({ executablePath, args: [...args, ...quiet] });
}

/** How long anything may take to come: a busy machine is no fault of a page. */
const PATIENCE_MS = 150_000;

export async function newContext(browser, options) {
  const context = await browser.newContext(options);
  context.setDefaultTimeout(PATIENCE_MS);
  return context;
}

/**
 * A page of a size that keeps count of what it must not do: errors, and requests to anything but the disk. With
 * `recorded`, its sound is kept, and its policy is off.
 */
export async function open(browser, size, address, isRecorded = false) {
  const context = await newContext(browser, { ...SIZES[size], acceptDownloads: true, bypassCSP: isRecorded });
  const page = await context.newPage();
  const faults = [];
  page.on('pageerror', (error) => faults.push(`error: ${error.message}`));
  page.on('console', (message) => {
    if (message.type() === 'error') faults.push(`console: ${message.text()}`);
  });
  page.on('request', (request) => {
    if (!/^(file|data|blob):/.test(request.url())) faults.push(`request: ${request.url()}`);
  });
  if (isRecorded) await page.addInitScript(recordSound);
  await page.goto(address);
  await page.locator('.versions').waitFor();
  return { context, page, faults };
}

/** Violations of the rules for accessible pages (WCAG 2.2 A and AA) that are serious or critical. */
export async function violations(page) {
  await page.evaluate(axe);
  const found = await page.evaluate(async () => {
    const only = { type: 'tag', values: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] };
    return (await globalThis.axe.run(document, { runOnly: only })).violations;
  });
  const bad = found.filter(({ impact }) => impact === 'serious' || impact === 'critical');
  return bad.map(({ id, nodes }) => `${id}: ${nodes.map((node) => node.target.join(' ')).join('; ')}`);
}

/**
 * Keeps all sound that goes to the loudspeakers, in `globalThis.sound`: what a microphone would hear. It records on the
 * thread of the sound, so that a busy page loses nothing; the page's policy would forbid that, so it has to be off.
 */
export function recordSound() {
  const sound = { rate: 0, parts: [], frames: 0 };
  globalThis.sound = sound;
  const recorder = `registerProcessor('recorder', class extends AudioWorkletProcessor {
    process([input], [output]) {
      const pair = [input[0], input[1] ?? input[0]];
      if (pair[0]) this.port.postMessage(pair.map((side) => side.slice()));
      return true;
    }
  });`;
  const connect = AudioNode.prototype.connect;
  AudioNode.prototype.connect = function connectAndRecord(to, ...rest) {
    if (to instanceof AudioDestinationNode && this.context instanceof AudioContext) {
      const { context } = this;
      const address = `data:text/javascript,${encodeURIComponent(recorder)}`;
      void context.audioWorklet.addModule(address).then(() => {
        const tap = new AudioWorkletNode(context, 'recorder', { channelCount: 2, channelCountMode: 'explicit' });
        sound.rate = context.sampleRate;
        tap.port.addEventListener('message', ({ data }) => {
          sound.parts.push(data);
          sound.frames += data[0].length;
        });
        tap.port.start();
        connect.call(this, tap);
        connect.call(tap, to);
      });
    }
    return connect.call(this, to, ...rest);
  };
}

/** The recorded sound as interleaved 32-bit floats. */
export async function recorded(page) {
  const text = await page.evaluate(() => {
    const { parts, frames } = globalThis.sound;
    const all = new Float32Array(2 * frames);
    let at = 0;
    for (const [left, right] of parts) {
      for (let i = 0; i < left.length; i += 1) {
        all[at] = left[i];
        all[at + 1] = right[i];
        at += 2;
      }
    }
    const bytes = new Uint8Array(all.buffer);
    let binary = '';
    for (let i = 0; i < bytes.length; i += 32_768) binary += String.fromCharCode(...bytes.subarray(i, i + 32_768));
    return btoa(binary);
  });
  return Buffer.from(text, 'base64');
}

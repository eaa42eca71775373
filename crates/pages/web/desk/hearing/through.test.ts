import { expect, it } from 'vitest';
import { atRate, codecOf } from './through.tsx';

const codecs = [
  { name: 'mp3', title: 'MP3', kbps: [64, 80, 128, 320] },
  { name: 'opus', title: 'Opus', kbps: [64, 96, 128] },
];

it('reads a codec and its rate, and keeps to rates that there are', () => {
  expect(codecOf(codecs, 'mp3 128')).toEqual({ codec: codecs[0], kbps: 128 });
  expect([codecOf(codecs, 'mono'), codecOf(codecs, 'small-speaker'), codecOf(codecs, 'tape 15')]).toEqual([null, null, null]);
  expect([atRate(codecs[1]!, 320), atRate(codecs[0]!, 80), atRate(codecs[1]!, 80)]).toEqual(['opus 128', 'mp3 80', 'opus 64']);
});

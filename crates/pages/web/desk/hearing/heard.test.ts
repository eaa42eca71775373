import { expect, it } from 'vitest';
import type { View } from '../protocol.ts';
import { heardInWords } from './heard.tsx';

const card = { chain: [], sentence: [], sends: [], processors: [{ title: 'compressor' }], rides: [] };
const view = (ear: View['ear']) => ({ nodes: [{ name: 'crush', card }], prints: [], ear }) as unknown as View;

it('says what part of the network is heard', () => {
  expect(heardInWords(view({ alone: [], silent: [], without: [] }))).toBeNull();
  expect(heardInWords(view({ alone: ['kick', 'snare'], silent: [], without: [] }))).toBe('kick and snare alone');
  expect(heardInWords(view({ alone: [], silent: ['pad'], without: [['crush', 0]] }))).toBe('everything without pad and the compressor of crush');
});

import { expect, it } from 'vitest';
import type { View } from '../protocol.ts';
import { lastOf, programmes } from './programmes.ts';

const earlier = ['r002', 'r001'].flatMap((revision) => ['clean', 'loud'].map((print) => ({ name: `${print} of ${revision}`, print, revision, label: null })));
const view = (programme: string, before = earlier): View =>
  ({ prints: [{ name: 'clean' }, { name: 'loud' }], references: ['rough mix'], earlier: before, hearing: { programme } }) as unknown as View;

it('goes to the last revision and back', () => {
  expect(lastOf(view('loud'))).toBe('loud of r002');
  expect([lastOf(view('loud of r002')), lastOf(view('loud of r001'))]).toEqual(['loud', 'loud']);
  expect([lastOf(view('rough mix')), lastOf(view('rough mix', []))]).toEqual(['clean of r002', null]);
  expect(programmes(view('loud'))).toEqual(['clean', 'loud', 'rough mix', 'clean of r002', 'loud of r002', 'clean of r001', 'loud of r001']);
});

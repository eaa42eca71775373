import { expect, it } from 'vitest';
import type { View } from '../protocol.ts';
import { lastOf, programmes, versionOf } from './programmes.ts';

const earlier = ['r002', 'r001'].flatMap((revision) => ['clean', 'loud'].map((print) => ({ name: `${print} of ${revision}`, print, revision, label: null, is_version: false })));
const dry = ['clean', 'loud'].map((print) => ({ name: `${print} of version “dry”`, print, revision: 'dry', label: null, is_version: true }));
const kept = [{ name: 'wet', kept_s: 2 }, { name: 'dry', kept_s: 1 }];
const view = (programme: string, before = earlier): View =>
  ({ prints: [{ name: 'clean' }, { name: 'loud' }], references: ['rough mix'], earlier: before, versions: kept, hearing: { programme } }) as unknown as View;

it('goes to the last revision and back', () => {
  expect(lastOf(view('loud'))).toBe('loud of r002');
  expect([lastOf(view('loud of r002')), lastOf(view('loud of r001'))]).toEqual(['loud', 'loud']);
  expect([lastOf(view('rough mix')), lastOf(view('rough mix', []))]).toEqual(['clean of r002', null]);
  expect(programmes(view('loud'))).toEqual(['clean', 'loud', 'rough mix', 'clean of r002', 'loud of r002', 'clean of r001', 'loud of r001']);
});

it('goes to a version and back, once it is rendered', () => {
  const all = (programme: string): View => view(programme, [...earlier, ...dry]);
  expect(versionOf(all('loud'), 'dry')).toEqual({ hear: 'loud of version “dry”' });
  expect(versionOf(all('loud of version “dry”'), 'dry')).toEqual({ hear: 'loud' });
  expect(versionOf(all('clean of r001'), 'dry')).toEqual({ hear: 'clean of version “dry”' });
  expect(versionOf(all('loud'), null)).toEqual({ render: 'wet' });
  expect(versionOf({ ...all('loud'), versions: [] }, 'dry')).toBe(null);
  expect([lastOf(all('loud of version “dry”')), lastOf(all('loud of r002'))]).toEqual(['loud of r002', 'loud']);
});

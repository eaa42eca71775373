import { expect, it } from 'vitest';
import type { Through, View } from '../protocol.ts';
import { differ, isPartial, proposed } from './propose.ts';

const view = (through: Through, silent: string[]): View =>
  ({ hearing: { programme: 'for approval', through }, ear: { alone: [], silent, without: [] } }) as unknown as View;
const names = ['for mastering', 'for approval', 'rough mix'];

it('proposes what is in question', () => {
  const plain = { programme: 'for approval', all: true, through: 'nothing' };
  expect(proposed(view('nothing', []), names)).toEqual([plain, { ...plain, programme: 'for mastering' }]);
  expect(proposed(view('mono', []), names)).toEqual([plain, { ...plain, through: 'mono' }]);
  expect(proposed(view('mono', ['pad']), names)).toEqual([
    { ...plain, through: 'mono' },
    { ...plain, through: 'mono', all: false },
  ]);
});

it('knows when there is nothing to tell apart', () => {
  expect(differ(proposed(view('nothing', []), ['for approval']))).toBe(false);
  expect(differ(proposed(view('nothing', []), names))).toBe(true);
  expect([isPartial(view('nothing', [])), isPartial(view('nothing', ['pad']))]).toEqual([false, true]);
});

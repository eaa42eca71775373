import { expect, it } from 'vitest';
import type { View } from './protocol.ts';
import { patched } from './state.ts';

const last = { number: 4, view: { nodes: [{ name: 'crush', mute: false }, { name: 'mix', mute: false }] } as unknown as View };

it('takes a patch to the view before, and keeps what it does not touch', () => {
  const next = patched(last, 5, [{ op: 'replace', path: '/nodes/0/mute', value: true }, { op: 'add', path: '/nodes/2', value: { name: 'room' } }]);
  expect(next).toEqual({ nodes: [{ name: 'crush', mute: true }, { name: 'mix', mute: false }, { name: 'room' }] });
  expect(next?.nodes[1]).toBe(last.view.nodes[1]);
  expect(last.view.nodes[0]?.mute).toBe(false);
});

it('asks for the whole view where one was missed or the patch does not fit', () => {
  expect(patched(last, 6, [])).toBeNull();
  expect(patched(null, 1, [])).toBeNull();
  expect(patched(last, 5, [{ op: 'remove', path: '/prints/3' }])).toBeNull();
  expect(patched({ ...last, number: 2 ** 32 - 1 }, 0, [])).toEqual(last.view);
});

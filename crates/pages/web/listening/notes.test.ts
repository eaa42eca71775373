import { describe, expect, it } from 'vitest';
import { fileOf, join, NOTHING, readFile, shown, type Mine, type Note } from './notes';
import type { Song } from './song';

const note = (id: string, change: Partial<Note> = {}): Note => ({
  id,
  who: 'Mara',
  revision: 'r001',
  version: 'for approval',
  at_secs: 41.2,
  text: 'voice up',
  written: '2026-11-27T10:00:00Z',
  ...change,
});

const mine = (...notes: Note[]): Mine => ({ ...NOTHING, who: 'Mara', notes });
const song = { title: 'Lantern Weather', revision: 'r001', notes: [] as Song['notes'] } as Song;
const file = (...notes: unknown[]): string => JSON.stringify({ fairprint_notes: 1, notes });

describe('joining', () => {
  it('takes a note once, with its later words', () => {
    const later = note('a', { text: 'voice up, please', written: '2026-11-27T11:00:00Z' });
    const joined = join(mine(note('a'), note('b')), mine(later, note('c')));
    expect(joined.notes.map((each) => each.id)).toEqual(['a', 'b', 'c']);
    expect(joined.notes[0]?.text).toBe('voice up, please');
    expect(join(joined, mine(note('a'))).notes[0]?.text).toBe('voice up, please');
  });
});

describe('reading a file', () => {
  it('reads back what it wrote', () => {
    const held = mine(note('a', { to_secs: 48 }), note('b'));
    expect(readFile(fileOf(song, held))).toEqual({ notes: held.notes, approvals: [], ballots: [] });
  });

  it.each([
    ['no JSON', '{'],
    ['another format', '{"fairprint_notes": 2}'],
    ['a list', '[]'],
    ['nothing', 'null'],
    ['notes that are no list', '{"fairprint_notes": 1, "notes": {}}'],
    ['a time before the song', file(note('a', { at_secs: -1 }))],
    ['an end before the start', file(note('a', { to_secs: 1 }))],
    ['no time', file({ ...note('a'), at_secs: 'soon' })],
    ['a text without end', file(note('a', { text: 'x'.repeat(4001) }))],
    ['a path for an id', file(note('../a'))],
    ['an entry that is none', file(null)],
    ['thousands', file(...Array.from({ length: 5001 }, (_, i) => note(`n${i}`)))],
    ['an approval of nothing', '{"fairprint_notes": 1, "approvals": [{"id": "a", "sha256": "12"}]}'],
  ])('refuses %s', (_what, text) => {
    expect(typeof readFile(text)).toBe('string');
  });
});

it('shows what came back with its answer, and all by time', () => {
  const back = { ...note('a'), to_secs: null, at_secs: 42.5, state: 'done' as const, answer: 'Up by 1 dB.' };
  const all = shown({ ...song, notes: [back] }, mine(note('a'), note('b', { at_secs: 3 })));
  expect(all.map((each) => [each.id, each.at, each.answer])).toEqual([
    ['b', 3, null],
    ['a', 42.5, 'Up by 1 dB.'],
  ]);
});

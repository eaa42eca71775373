// What a listener writes: notes, approvals, ballots. The file is the one that `fairprint notes add` reads.
import type { Approval, CameBack, Song, State } from './song';

export type Note = {
  id: string;
  who: string;
  revision: string;
  version: string;
  at_secs: number;
  to_secs?: number;
  text: string;
  written: string;
};

export type Round = { loudness: 'matched' | 'delivered'; order: string[]; chose: string };

export type Ballot = {
  id: string;
  who: string;
  revision: string;
  passage_secs: [number, number];
  versions: string[];
  trims_db: Record<string, number>;
  rounds: Round[];
  written: string;
};

/** All that is kept in the browser for one page. */
export type Mine = { who: string; notes: Note[]; approvals: Approval[]; ballots: Ballot[] };

export const NOTHING: Mine = { who: '', notes: [], approvals: [], ballots: [] };

/** The limits of the file: `crates/listening/src/notes/read.rs` refuses what goes beyond. */
export const LONGEST_TEXT = 4000;
export const LONGEST_NAME = 200;
export const LARGEST_FILE = 4 * 1024 * 1024;
const MOST_ENTRIES = 5000;

/** A new id: 128 bits that nobody else has drawn. */
export function newId(): string {
  return [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, '0')).join('');
}

export const now = (): string => `${new Date().toISOString().slice(0, 19)}Z`;

/** The file to send. */
export function fileOf(song: Song, mine: Mine): string {
  const { notes, approvals, ballots } = mine;
  return `${JSON.stringify({ fairprint_notes: 1, title: song.title, notes, approvals, ballots }, null, 2)}\n`;
}

/** Takes in what another holds, without duplicates: of a note that both have, the later words. */
export function join(mine: Mine, other: Omit<Mine, 'who'>): Mine {
  const byId = <Entry extends { id: string; written: string }>(here: Entry[], there: Entry[]): Entry[] => {
    const all = new Map(here.map((entry) => [entry.id, entry]));
    for (const entry of there) {
      const known = all.get(entry.id);
      if (!known || entry.written > known.written) all.set(entry.id, entry);
    }
    return [...all.values()];
  };
  return {
    who: mine.who,
    notes: byId(mine.notes, other.notes),
    approvals: byId(mine.approvals, other.approvals),
    ballots: byId(mine.ballots, other.ballots),
  };
}

type Unknown = Record<string, unknown>;

const isText = (value: unknown, longest: number): value is string => typeof value === 'string' && value.length <= longest;
const isTime = (value: unknown): value is number => typeof value === 'number' && value >= 0 && value <= 86_400;
const isId = (value: unknown): value is string => typeof value === 'string' && /^[A-Za-z0-9-]{1,64}$/.test(value);
const isName = (value: unknown): value is string => isText(value, LONGEST_NAME);
const hasNames = (entry: Unknown, ...keys: string[]): boolean => isId(entry['id']) && keys.every((key) => isName(entry[key]));

function isNote(entry: Unknown): boolean {
  const { at_secs: from, to_secs: to } = entry;
  const spans = isTime(from) && (to === undefined || to === null || (isTime(to) && to >= from));
  return hasNames(entry, 'who', 'revision', 'version', 'written') && isText(entry['text'], LONGEST_TEXT) && spans;
}

function isApproval(entry: Unknown): boolean {
  const sum = entry['sha256'];
  return hasNames(entry, 'who', 'revision', 'version', 'written') && typeof sum === 'string' && /^[0-9a-f]{64}$/i.test(sum);
}

function isBallot(entry: Unknown): boolean {
  const { passage_secs: passage, versions, rounds, trims_db: trims } = entry;
  const shaped = Array.isArray(passage) && passage.length === 2 && passage.every(isTime) && Array.isArray(versions);
  return hasNames(entry, 'who', 'revision', 'written') && shaped && Array.isArray(rounds) && typeof trims === 'object';
}

/** Reads a file that anyone may have written, or says why not. */
export function readFile(text: string): Omit<Mine, 'who'> | string {
  if (text.length > LARGEST_FILE) return 'That file is far too large to be notes.';
  let file: unknown;
  try {
    file = JSON.parse(text);
  } catch {
    return 'That file holds no notes.';
  }
  if (typeof file !== 'object' || file === null || (file as Unknown)['fairprint_notes'] !== 1) return 'That file holds no notes.';
  const list = (key: string): Unknown[] => {
    const entries = (file as Unknown)[key] ?? [];
    return Array.isArray(entries) ? (entries as Unknown[]).slice(0, MOST_ENTRIES + 1) : [{}];
  };
  const [notes, approvals, ballots] = [list('notes'), list('approvals'), list('ballots')];
  if (notes.length + approvals.length + ballots.length > MOST_ENTRIES) return 'That file holds too many notes.';
  const whole = (entries: Unknown[], fits: (entry: Unknown) => boolean): boolean =>
    entries.every((entry) => typeof entry === 'object' && entry !== null && fits(entry));
  if (!whole(notes, isNote) || !whole(approvals, isApproval) || !whole(ballots, isBallot)) {
    return 'That file is damaged: a note in it has no proper time, text or name.';
  }
  return { notes: notes as Note[], approvals: approvals as Approval[], ballots: ballots as Ballot[] };
}

/** A note as the page shows it: mine or one that came back. */
export type Shown = {
  id: string;
  who: string;
  version: string;
  at: number | null;
  to: number | null;
  text: string;
  mine: boolean;
  /** The revision that it was written about. */
  revision: string;
  state: State;
  answer: string | null;
};

/** All notes, by time; what came back goes before what is kept here, since it carries the answer. */
export function shown(song: Song, mine: Mine): Shown[] {
  const back = (note: CameBack): Shown => ({ ...note, at: note.at_secs, to: note.to_secs, mine: false });
  const all = new Map(song.notes.map((note) => [note.id, back(note)]));
  for (const note of mine.notes) {
    const { id, who, version, revision, text } = note;
    const known = all.get(id);
    if (known) all.set(id, { ...known, text, mine: true });
    else all.set(id, { id, who, version, revision, text, at: note.at_secs, to: note.to_secs ?? null, mine: true, state: 'open', answer: null });
  }
  return [...all.values()].toSorted((a, b) => (a.at ?? Infinity) - (b.at ?? Infinity) || a.id.localeCompare(b.id));
}

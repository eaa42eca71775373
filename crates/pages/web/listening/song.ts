// What the page is told about its song. `crates/listening/src/song.rs` writes the same.

export type Section = { name: string; at_secs: number };

export type Version = {
  name: string;
  /** None for what cannot be approved, such as a rough mix. */
  sha256: string | null;
  lufs: number;
  /** Its true peak, as delivered. */
  peak_dbtp: number;
  /** Gain that brings it to the loudness that all share. */
  matched_db: number;
  /** Gain as delivered: the same for all versions. */
  delivered_db: number;
  /** Loudness ten times a second, 0 to 255. */
  silhouette: number[];
};

export type Audio = {
  rate_hz: number;
  frames: number;
  piece_frames: number;
  before_frames: number;
  fade_frames: number;
  words: string;
  inside: boolean;
};

export type State = 'open' | 'done' | 'declined';

/** A note that came back, with what became of it. */
export type CameBack = {
  id: string;
  who: string;
  revision: string;
  version: string;
  at_secs: number | null;
  to_secs: number | null;
  text: string;
  state: State;
  answer: string | null;
};

export type Approval = { id: string; who: string; revision: string; version: string; sha256: string; written: string };

export type Song = {
  format: 1;
  page: string;
  title: string;
  artist: string;
  revision: string;
  label: string | null;
  date: string;
  secs: number;
  sections: Section[];
  matched_lufs: number;
  versions: Version[];
  audio: Audio;
  notes: CameBack[];
  approvals: Approval[];
};

/** Reads the song from its element and takes the element away: from then on the page's text names no version by itself. */
export function takeSong(): Song | null {
  const element = document.getElementById('song');
  const text = element?.textContent ?? '';
  element?.remove();
  if (text.trim() === '') return null;
  // Written by the same program as this page, so that its shape is known; only its age is asked.
  const song = JSON.parse(text) as Song;
  return song.format === 1 && song.versions.length > 0 ? song : null;
}

/** The section that a moment lies in. */
export function sectionAt(song: Song, secs: number): Section | undefined {
  return song.sections.findLast((section) => section.at_secs <= secs + 0.01);
}

/** Start and end of a section. */
export function spanOf(song: Song, index: number): [number, number] {
  const from = song.sections[index]?.at_secs ?? 0;
  return [from, song.sections[index + 1]?.at_secs ?? song.secs];
}

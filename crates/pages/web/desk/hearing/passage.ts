// Passages of the song: sections by name, and what is played over and over.
import type { View } from '../protocol.ts';

export type Span = [number, number];
type Parts = Pick<View, 'sections' | 'song'>;

/** The section of an index lasts until the next, the last until the end of the song. */
export function spanOf({ sections, song }: Parts, index: number): Span {
  return [sections[index]?.from_s ?? 0, sections[index + 1]?.from_s ?? song.length_s];
}

/** The index of the section that a place lies in; −1 ahead of the first. */
export function sectionAt({ sections }: Parts, at: number): number {
  return sections.findLastIndex((section) => section.from_s <= at + 0.01);
}

/** Longer sections are heard in stretches of this. */
const STRETCH_S = 20;

/** The passage around a place: its section, or a stretch of it where that is long. */
export function passageAt(parts: Parts, at: number): Span {
  const index = sectionAt(parts, at);
  const [from, to]: Span = index < 0 ? [0, parts.sections[0]?.from_s ?? parts.song.length_s] : spanOf(parts, index);
  if (to - from <= 1.5 * STRETCH_S) return [from, to];
  const last = Math.floor((to - from) / STRETCH_S) - 1;
  const stretch = Math.min(last, Math.max(0, Math.floor((at - from) / STRETCH_S)));
  return [from + stretch * STRETCH_S, stretch === last ? to : from + (stretch + 1) * STRETCH_S];
}

const near = (a: number, b: number): boolean => Math.abs(a - b) < 0.02;

/** The index of the section that a span is; −1 if it is a passage of its own. */
export function sectionOf(parts: Parts, span: Span): number {
  return parts.sections.findIndex((_, index) => spanOf(parts, index).every((edge, i) => near(edge, span[i] ?? -1)));
}

/** Where the next section starts, or the one before. The first press of "before" goes to the start of this one. */
export function neighbour(parts: Parts, at: number, way: 1 | -1): number {
  const starts = [0, ...parts.sections.map((section) => section.from_s)];
  if (way === 1) return starts.find((start) => start > at + 0.05) ?? parts.song.length_s;
  return starts.findLast((start) => start < at - 1) ?? 0;
}

/** A span in order and inside the song, at least a quarter of a second long. */
export function sane(span: Span, length: number): Span {
  const [a, b] = span[0] <= span[1] ? span : [span[1], span[0]];
  const from = Math.max(0, Math.min(a, length - 0.25));
  return [from, Math.min(length, Math.max(b, from + 0.25))];
}

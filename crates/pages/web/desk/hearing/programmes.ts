// What can be heard.
import type { Earlier, View } from '../protocol.ts';

/** The same print among others that are heard beside the song as it is now, or, while one of them is heard, of now. */
function beside(all: View, others: readonly Earlier[]): string | null {
  const { programme } = all.hearing;
  const back = others.find((other) => other.name === programme);
  if (back) return (all.prints.find((print) => print.name === back.print) ?? all.prints[0])?.name ?? null;
  const print = all.earlier.find((earlier) => earlier.name === programme)?.print ?? programme;
  return (others.find((other) => other.print === print) ?? others[0])?.name ?? null;
}

/** The same print in the last revision, or what was printed then of what is heard now; nothing if nothing was printed. */
export function lastOf(all: View): string | null {
  return beside(all, all.earlier.filter(({ is_version }) => !is_version));
}

/** What a version is called, if it can be heard. */
function rendered(all: View, version: string): boolean {
  return all.earlier.some(({ is_version, revision }) => is_version && revision === version);
}

/**
 * The same print in a version of the sheet, or in the sheet as it is now. Where the version cannot be heard yet, its name: it
 * is to be rendered. Nothing if no version was kept.
 */
export function versionOf(all: View, version: string | null): { hear: string } | { render: string } | null {
  const name = all.versions.find((each) => each.name === version)?.name ?? all.versions[0]?.name;
  if (name === undefined) return null;
  if (!rendered(all, name)) return { render: name };
  const programme = beside(all, all.earlier.filter(({ is_version, revision }) => is_version && revision === name));
  return programme === null ? null : { hear: programme };
}

/** Everything that can be heard, in the order of its keys. */
export function programmes(all: View): string[] {
  return [...all.prints.map((print) => print.name), ...all.references, ...all.earlier.map((print) => print.name)];
}

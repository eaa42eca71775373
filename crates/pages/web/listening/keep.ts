// Keeps what a listener wrote in the browser, under the page's own name.
import { NOTHING, readFile, type Mine } from './notes';

const nameOf = (page: string): string => `fairprint-listening-${page}`;

/** What was kept; nothing where there is none or it cannot be read. */
export function kept(page: string): Mine {
  try {
    const text = localStorage.getItem(nameOf(page));
    if (text === null) return NOTHING;
    const found = readFile(text);
    const who = (JSON.parse(text) as { who?: unknown }).who;
    return typeof found === 'string' ? NOTHING : { ...found, who: typeof who === 'string' ? who : '' };
  } catch {
    return NOTHING;
  }
}

/** Keeps it; false where the browser does not allow it. */
export function keep(page: string, mine: Mine): boolean {
  try {
    localStorage.setItem(nameOf(page), JSON.stringify({ fairprint_notes: 1, ...mine }));
    return true;
  } catch {
    return false;
  }
}

// A version of the sheet, heard in the place of the sheet as it is now. It is rendered the first time.
import { effect, signal } from '@preact/signals';
import { ask, hear } from '../link.ts';
import type { View } from '../protocol.ts';
import { view } from '../state.ts';
import { versionOf } from './programmes.ts';

/** The version that was asked for last. */
const last = signal<string | null>(null);

effect(() => {
  const all = view.value;
  const heard = all?.earlier.find(({ name, is_version }) => is_version && name === all.hearing.programme);
  if (heard) last.value = heard.revision;
});

/** Hears a version, that which was asked for last if none is named, or the sheet as it is now; renders it first if need be. */
export function hearVersion(all: View, name = last.value): void {
  const found = versionOf(all, name);
  if (found === null) return;
  if ('hear' in found) hear({ programme: found.hear });
  else {
    last.value = found.render;
    ask({ ask: 'render', name: found.render });
  }
}

// The keyboard: space plays, digits switch, arrows move, L loops the section, N writes.
import { sectionAt, spanOf } from './song';
import type { Page } from './state';

const STEP_SECS = 5;

export function onKey(page: Page, event: KeyboardEvent): void {
  const target = event.target as HTMLElement;
  const writes = target.matches('input, textarea, select');
  if (writes || event.ctrlKey || event.metaKey || event.altKey || page.ballot.value) {
    if (event.key === 'Escape' && writes) target.blur();
    return;
  }
  const { player, song } = page;
  const version = Number(event.key) - 1;
  const presses = target.matches('button, summary, a, label');
  if (event.key === ' ' && !presses) player.toggle();
  else if (event.key === 'ArrowLeft') player.seek(player.at.value - STEP_SECS);
  else if (event.key === 'ArrowRight') player.seek(player.at.value + STEP_SECS);
  else if (event.key === 'l') loopSection(page);
  else if (event.key === 'n') document.getElementById('text')?.focus();
  else if (version >= 0 && version < song.versions.length) player.heard.value = version;
  else return;
  event.preventDefault();
}

function loopSection({ player, song }: Page): void {
  const section = sectionAt(song, player.at.value);
  if (player.loop.value || !section) player.setLoop(null);
  else player.setLoop(spanOf(song, song.sections.indexOf(section)));
}

// How the page is shown. Kept in the browser; nothing of it reaches the sheet.
import { effect, signal } from '@preact/signals';

type Light = 'system' | 'day' | 'night';

/** Whether anything is drawn, or sentences alone are shown. */
export const pictures = signal(true);
/** Whether single keys do anything. */
export const singleKeys = signal(true);
export const light = signal<Light>('system');

function kept(key: string): string | null {
  try {
    return localStorage.getItem(`desk.${key}`);
  } catch {
    return null;
  }
}

function keep(key: string, value: string): void {
  try {
    localStorage.setItem(`desk.${key}`, value);
  } catch {
    // A browser that keeps nothing shows the page as it is by default next time.
  }
}

/** Takes up what was chosen before, and keeps what is chosen from now on. */
export function keepSettings(): void {
  pictures.value = kept('pictures') !== 'off';
  singleKeys.value = kept('keys') !== 'off';
  const before = kept('light');
  if (before === 'day' || before === 'night') light.value = before;
  effect(() => {
    if (light.value === 'system') delete document.documentElement.dataset['theme'];
    else document.documentElement.dataset['theme'] = light.value;
    keep('light', light.value);
  });
  effect(() => keep('pictures', pictures.value ? 'on' : 'off'));
  effect(() => keep('keys', singleKeys.value ? 'on' : 'off'));
}

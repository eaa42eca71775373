// Few stops for Tab: what belongs together is one stop, marked with `data-group`. The arrows to the left and right, Home and
// End go along within it; arrows up and down stay with numbers and lists, which step with them.
// The controls stay native ones; only which of them Tab reaches is decided here, for the whole page at once.

const CONTROLS = 'button, select, input, summary, a[href]';

/** The control of each group that Tab reaches: the one that was used last. */
const current = new WeakMap<Element, HTMLElement>();

/** Where a key leads in a row of so many from a place; nothing if it leads nowhere. */
export function along(key: string, at: number, count: number): number | null {
  const to = { ArrowRight: at + 1, ArrowLeft: at - 1, Home: 0, End: count - 1 }[key];
  return to === undefined || to < 0 || to >= count ? null : to;
}

/** Controls of a group that can be used, in order. Those that the page keeps from Tab itself are none of them. */
function controlsOf(group: Element): HTMLElement[] {
  const usable = (one: HTMLElement): boolean => one.closest('[data-group]') === group && !one.matches(':disabled') && (one.tabIndex >= 0 || one.dataset['rests'] !== undefined);
  return [...group.querySelectorAll<HTMLElement>(CONTROLS)].filter(usable);
}

function settleGroup(group: Element): void {
  const controls = controlsOf(group);
  const kept = current.get(group);
  const stop = kept && controls.includes(kept) ? kept : controls[0];
  for (const one of controls) rest(one, one !== stop);
}

function rest(one: HTMLElement, rests: boolean): void {
  if ((one.dataset['rests'] !== undefined) === rests) return;
  if (rests) {
    one.dataset['rests'] = '';
    one.tabIndex = -1;
  } else {
    delete one.dataset['rests'];
    one.removeAttribute('tabindex');
  }
}

function settle(): void {
  for (const group of document.querySelectorAll('[data-group]')) settleGroup(group);
}

/** Whether the caret of a field that is being written in moves with a key. */
function writing(one: Element, key: string): boolean {
  if (!(one instanceof HTMLInputElement) || one.type === 'checkbox' || one.type === 'range') return false;
  if (one.classList.contains('number')) return one.dataset['draft'] !== undefined;
  const [from, to, end] = [one.selectionStart ?? 0, one.selectionEnd ?? 0, one.value.length];
  if (from === 0 && to === end) return false;
  return key === 'ArrowLeft' || key === 'Home' ? to > 0 : from < end;
}

function onKey(event: KeyboardEvent): void {
  if (event.ctrlKey || event.metaKey || event.altKey || event.shiftKey || event.defaultPrevented) return;
  const one = document.activeElement;
  const group = one?.closest('[data-group]');
  if (!(one instanceof HTMLElement) || !group || writing(one, event.key)) return;
  const controls = controlsOf(group);
  const to = along(event.key, controls.indexOf(one), controls.length);
  if (to === null || !controls.includes(one)) return;
  event.preventDefault();
  controls[to]?.focus();
}

/** Keeps the groups of a page in order from now on. */
export function keepGroups(page: Element): void {
  const changed = (list: MutationRecord[]): void => {
    const matters = (nodes: NodeList): boolean => [...nodes].some((node) => node instanceof HTMLElement);
    if (list.some((each) => each.type === 'attributes' || matters(each.addedNodes) || matters(each.removedNodes))) settle();
  };
  new MutationObserver(changed).observe(page, { childList: true, subtree: true, attributes: true, attributeFilter: ['disabled'] });
  page.addEventListener('focusin', ({ target }) => {
    const group = target instanceof Element ? target.closest('[data-group]') : null;
    if (!group || !(target instanceof HTMLElement) || !controlsOf(group).includes(target)) return;
    current.set(group, target);
    settleGroup(group);
  });
  page.addEventListener('keydown', onKey as EventListener);
  settle();
}

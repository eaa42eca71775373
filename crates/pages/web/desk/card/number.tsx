// A number that stands in a sentence with its unit: typed, stepped with the arrows or the wheel, or drawn up and down.
import type { JSX } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import { letGo } from '../edits.ts';
import { clamped, drawn, type NumberTakes, type Size, stepped } from '../steps.ts';
import { amount, typed } from '../words.ts';

type Shown = {
  label: string;
  /** What it does to the sound. */
  about: string;
  takes: NumberTakes;
  onChange: (value: number) => void;
  disabled?: boolean;
};

/** A press that moves less is a click into the text. */
const SLACK_PX = 4;

const STEPS: Record<string, [number, Size]> = {
  ArrowUp: [1, 'step'],
  ArrowDown: [-1, 'step'],
  PageUp: [1, 'wide'],
  PageDown: [-1, 'wide'],
};

export function NumberWord({ label, about, takes, onChange, disabled = false }: Shown): JSX.Element {
  const input = useRef<HTMLInputElement>(null);
  const [draft, setDraft] = useState<string | null>(null);
  const [value, ask] = useAsked(takes.value);
  const to = (next: number): void => {
    if (next === value()) return;
    ask(next);
    setDraft(null);
    onChange(next);
  };
  const keys = (event: KeyboardEvent): void => {
    const step = STEPS[event.key];
    if (step && !event.ctrlKey && !event.altKey) {
      event.preventDefault();
      to(stepped(takes, value(), step[0], event.shiftKey ? 'fine' : step[1]));
    } else if (event.key === 'Enter') {
      take();
    } else if (event.key === 'Escape' && draft !== null) {
      event.stopPropagation();
      setDraft(null);
    }
  };
  const take = (): void => {
    const read = draft === null ? null : typed(draft, takes.unit);
    setDraft(null);
    if (read !== null) to(clamped(takes, read));
  };
  useWheel(input, (steps, fine) => to(stepped(takes, value(), steps, fine ? 'fine' : 'step')));
  const shown = amount(value(), takes.unit);
  const text = draft ?? shown;
  return (
    <input
      ref={input}
      class="word number"
      type="text"
      inputMode="decimal"
      autocomplete="off"
      spellcheck={false}
      role="spinbutton"
      aria-label={label}
      aria-valuemin={takes.low}
      aria-valuemax={takes.high}
      aria-valuenow={value()}
      aria-valuetext={shown}
      title={`${about} ${amount(takes.low, takes.unit)} to ${amount(takes.high, takes.unit)}.`.trim()}
      disabled={disabled}
      data-draft={draft === null ? undefined : ''}
      value={text}
      size={Math.max(2, text.length)}
      onInput={(event) => setDraft(event.currentTarget.value)}
      onFocus={(event) => event.currentTarget.select()}
      onBlur={() => {
        take();
        letGo();
      }}
      onKeyDown={keys}
      onDragStart={(event) => event.preventDefault()}
      onPointerDown={(event) => drawUpAndDown(event, { ...takes, value: value() }, to)}
    />
  );
}

/** How long the desk may take to answer before its own value counts again. */
const ANSWER_MS = 3000;

/**
 * The value that was asked for last, until the desk has answered: steps in quick succession must not start from an old
 * value, and the number must not jump back under the hand.
 */
function useAsked(told: number): [() => number, (value: number) => void] {
  const asked = useRef<{ value: number; timer: ReturnType<typeof setTimeout> } | null>(null);
  const [, again] = useState(0);
  if (asked.current?.value === told) {
    clearTimeout(asked.current.timer);
    asked.current = null;
  }
  const ask = (value: number): void => {
    if (asked.current) clearTimeout(asked.current.timer);
    const timer = setTimeout(() => {
      asked.current = null;
      again((times) => times + 1);
    }, ANSWER_MS);
    asked.current = { value, timer };
    again((times) => times + 1);
  };
  return [() => asked.current?.value ?? told, ask];
}

/** Steps with the wheel, once the number has the keyboard: the page stays still then, and only then. */
function useWheel(input: { current: HTMLInputElement | null }, step: (steps: number, fine: boolean) => void): void {
  const latest = useRef(step);
  latest.current = step;
  useEffect(() => {
    const element = input.current;
    const turned = (event: WheelEvent): void => {
      if (document.activeElement !== element || event.deltaY === 0) return;
      event.preventDefault();
      latest.current(event.deltaY < 0 ? 1 : -1, event.shiftKey);
    };
    element?.addEventListener('wheel', turned, { passive: false });
    return () => element?.removeEventListener('wheel', turned);
  }, [input]);
}

function drawUpAndDown(event: PointerEvent, takes: NumberTakes, to: (value: number) => void): void {
  const element = event.currentTarget as HTMLInputElement;
  if (event.button !== 0 || element.disabled) return;
  const [from, startY] = [takes.value, event.clientY];
  let drawing = false;
  const moved = (move: PointerEvent): void => {
    const up = startY - move.clientY;
    if (!drawing && Math.abs(up) < SLACK_PX) return;
    if (!drawing) {
      drawing = true;
      element.setPointerCapture(event.pointerId);
      element.classList.add('drawn');
      letGo();
    }
    move.preventDefault();
    to(drawn(takes, from, up, move.shiftKey));
  };
  const done = (): void => {
    element.classList.remove('drawn');
    removeEventListener('pointermove', moved);
    removeEventListener('pointerup', done);
    removeEventListener('pointercancel', done);
    if (drawing) letGo();
  };
  addEventListener('pointermove', moved);
  addEventListener('pointerup', done);
  addEventListener('pointercancel', done);
}

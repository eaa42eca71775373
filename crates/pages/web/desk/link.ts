// The one way to the desk and back: messages over a WebSocket on the page's own address.
import type { Asked, Ear, Hearing, Told } from './protocol.ts';
import { differs, linked, take, view, weighed } from './state.ts';

const AGAIN_MS = 1000;
let socket: WebSocket | null = null;

/** The address of a WebSocket of the desk. */
export function address(path: string): string {
  return new URL(path, location.href).href.replace(/^http/, 'ws');
}

/** Speaks with the desk, again and again if it goes away. */
export function connect(): void {
  const talk = new WebSocket(address('/talk'));
  talk.onopen = () => (linked.value = true);
  talk.onmessage = (event: MessageEvent<string>) => {
    if (!take(JSON.parse(event.data) as Told)) ask({ ask: 'view' });
  };
  talk.onclose = () => {
    linked.value = false;
    setTimeout(connect, AGAIN_MS);
  };
  socket = talk;
}

/** After these, what was weighed is not so any more. */
const CHANGES: ReadonlySet<Asked['ask']> = new Set(['edit', 'undo', 'redo', 'reload', 'recover', 'take', 'open']);

/** Asks the desk for something; what comes of it is told in the next view. */
export function ask(asked: Asked): void {
  if (CHANGES.has(asked.ask)) {
    weighed.value = false;
    if (asked.ask !== 'open') differs.value = null;
  }
  if (socket?.readyState === WebSocket.OPEN) socket.send(JSON.stringify(asked));
}

/** Hears on with something changed. The view says so at once, so that two quick changes add up. */
export function hear(change: Partial<Hearing>): void {
  const all = view.value;
  if (!all) return;
  const hearing = { ...all.hearing, ...change };
  view.value = { ...all, hearing };
  ask({ ask: 'hear', hearing });
}

/** Hears more or less of the network. */
export function listen(ear: Ear): void {
  const all = view.value;
  if (!all) return;
  view.value = { ...all, ear };
  ask({ ask: 'listen', ear });
}

// What the page, the worker on the line and the worklet at the loudspeaker say to each other.
import type { Block } from './queue.ts';

/** The line to the worklet: sound, or that the line is a new one. */
export type Brought = Block | 'reconnected';
/** The worklet to the line: frames that it can take. */
export type Wanted = number;
/** The page to the worklet. */
export type Ordered = { line: MessagePort } | { expected: boolean };
/** The worklet to the page: the place that is heard, how often it ran dry, and how much waits. */
export type Heard = { at_s: number | null; dry: number; waiting_ms: number };
/** The page to the worker. */
export type Opened = { address: string; worklet: MessagePort };

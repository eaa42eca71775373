// Plays all versions together, and lets one of them through: switching needs no new start, so it is in time to the sample.
import { batch, effect, signal } from '@preact/signals';
import { CEILING_DBTP, gainOf, Guard, levelsOf, schedule, STEP_SECS } from './guard';
import type { Pieces } from './pieces';
import type { Song } from './song';

export type Loudness = 'matched' | 'delivered';

/** Time constants of gains, in seconds: a switch, a change of loudness, the first start, and any later one. */
const SWITCH_SECS = 0.008;
const LOUDNESS_SECS = 0.4;
const FIRST_START_SECS = 0.5;
const START_SECS = 0.02;
/** Fade of a source that starts or ends within the song. */
const EDGE_SECS = 0.01;
/** Sound is lined up so far ahead, and looked after so often. */
const AHEAD_SECS = 3;
const LOOK_MS = 250;
/** Time from asking for sound to sound. */
const LEAD_SECS = 0.15;
/** Sound is made in stretches of about so long; what is planned stands two of them ahead. */
const LATENCY_SECS = 0.05;

/** Whatever changes while something plays begins so much later, so that the guard stands before it. */
const CHANGE_SECS = 0.1;

/** A stretch of song on the clock of the sound. */
type Run = { clock: number; from: number };
/**
 * What is lined up next: a frame of the song and its time. `fresh` starts as soon as it can, `joined` goes on from what
 * plays without a seam, `turn` starts the passage over.
 */
type Next = { frame: number; time: number; kind: 'fresh' | 'joined' | 'turn' };
type Voice = {
  version: number;
  source: AudioBufferSourceNode;
  edge: GainNode;
  levelsDb: readonly number[];
  /** On the clock of the sound: its buffer's beginning, and what of it is heard. */
  origin: number;
  starts: number;
  ends: number;
};

export class Player {
  readonly heard = signal(0);
  readonly loudness = signal<Loudness>('matched');
  readonly playing = signal(false);
  readonly waiting = signal(false);
  readonly at = signal(0);
  readonly trouble = signal<string | null>(null);
  /** The passage that is played over and over. */
  readonly loop = signal<[number, number] | null>(null);
  /** What a listener adds to each version, in dB. */
  readonly trims = signal<readonly number[]>([]);

  private context: AudioContext | null = null;
  private master: GainNode | null = null;
  private guardGain: GainNode | null = null;
  private readonly guard = new Guard();
  /** Steps at which something changes. */
  private readonly changes = new Set<number>();
  private readonly levels = new WeakMap<AudioBuffer, number[]>();
  private gates: GainNode[] = [];
  private runs: Run[] = [];
  private voices: Voice[] = [];
  private next: Next = { frame: 0, time: 0, kind: 'fresh' };
  /** Counts starts; the one whose pieces are being lined up, or 0. */
  private turn = 0;
  private busy = 0;
  private timer = 0;
  private begun = false;

  constructor(
    private readonly song: Song,
    private readonly pieces: Pieces,
  ) {
    effect(() => this.setGates(this.heard.value, this.loudness.value, this.trims.value));
  }

  toggle(): void {
    if (this.playing.value) this.pause();
    else void this.play();
  }

  async play(): Promise<void> {
    if (this.playing.value) return;
    const context = this.open();
    this.playing.value = true;
    await context.resume();
    if (this.at.value >= this.song.secs - 0.05) this.at.value = this.loop.value?.[0] ?? 0;
    this.glide(this.master, 1, this.begun ? START_SECS : FIRST_START_SECS);
    this.begun = true;
    this.startAt(this.at.value);
    this.timer = window.setInterval(() => void this.lineUp(this.turn), LOOK_MS);
    requestAnimationFrame(this.follow);
  }

  pause(): void {
    if (!this.playing.value) return;
    this.at.value = this.position();
    batch(() => {
      this.playing.value = false;
      this.waiting.value = false;
    });
    window.clearInterval(this.timer);
    this.glide(this.master, 0, START_SECS);
    this.hush();
  }

  seek(secs: number): void {
    const to = Math.min(Math.max(0, secs), this.song.secs - 0.01);
    this.at.value = to;
    if (this.playing.value) this.startAt(to);
  }

  /** Plays a passage over and over, or with none the song on from where it is. */
  setLoop(passage: [number, number] | null): void {
    this.loop.value = passage;
    const at = this.position();
    if (passage && (at < passage[0] || at >= passage[1])) this.seek(passage[0]);
    else if (this.playing.value) this.startAt(at);
  }

  /** Where the song is, in seconds. */
  position(): number {
    const { context } = this;
    if (!context || !this.playing.value) return this.at.value;
    const now = context.currentTime - (context.outputLatency || 0);
    const run = this.runs.findLast((candidate) => candidate.clock <= now);
    return run ? Math.min(this.song.secs, run.from + now - run.clock) : this.at.value;
  }

  private open(): AudioContext {
    if (this.context) return this.context;
    const context = new AudioContext({ sampleRate: this.song.audio.rate_hz, latencyHint: LATENCY_SECS });
    this.context = context;
    this.master = context.createGain();
    this.master.gain.value = 0;
    this.guardGain = context.createGain();
    this.master.connect(this.guardGain).connect(context.destination);
    this.gates = this.song.versions.map(() => {
      const gate = context.createGain();
      gate.gain.value = 0;
      gate.connect(this.master!);
      return gate;
    });
    this.setGates(this.heard.value, this.loudness.value, this.trims.value);
    return context;
  }

  private lastLoudness: Loudness = 'matched';

  private setGates(heard: number, loudness: Loudness, trims: readonly number[]): void {
    const slow = loudness !== this.lastLoudness;
    this.lastLoudness = loudness;
    const at = (this.context?.currentTime ?? 0) + CHANGE_SECS;
    // The guard comes first. A change of loudness comes slowly by itself.
    this.guardFrom(at, !slow);
    for (const [index, gate] of this.gates.entries()) {
      const db = this.gateDb(index, loudness, trims);
      this.glide(gate, index === heard ? gainOf(db) : 0, slow && index === heard ? LOUDNESS_SECS : SWITCH_SECS, at);
    }
  }

  /** The level at which a version plays, as far as its peaks allow. */
  private gateDb(index: number, loudness: Loudness, trims: readonly number[]): number {
    const { matched_db, delivered_db, peak_dbtp } = this.song.versions[index]!;
    return Math.min((loudness === 'matched' ? matched_db : delivered_db) + (trims[index] ?? 0), CEILING_DBTP - peak_dbtp);
  }

  /** Approaches a gain from whatever it is then: two gains that do so together always add up to one. */
  private glide(node: GainNode | null, to: number, secs: number, at = this.context?.currentTime ?? 0): void {
    node?.gain.setTargetAtTime(to, at, secs);
  }

  /** Plans anew what the guard does, from a time on the clock of the sound. */
  private guardFrom(clock: number, isChange: boolean): void {
    if (!this.context || !this.guardGain || this.voices.length === 0) return;
    const [now, from] = [this.context.currentTime + STEP_SECS, clock].map((secs) => Math.ceil(secs / STEP_SECS)) as [number, number];
    if (isChange) this.changes.add(Math.max(now, from - 1));
    for (const change of this.changes) if (change < now) this.changes.delete(change);
    const until = Math.ceil(Math.max(...this.voices.map((voice) => voice.ends)) / STEP_SECS);
    const levelsDb = Array.from({ length: Math.max(0, until - now) }, (_, step) => this.levelDb((now + step) * STEP_SECS));
    const beforeDb = this.guard.gainAheadOf(now);
    schedule(this.guardGain.gain, now, beforeDb, this.guard.plan(now, levelsDb, this.changes));
  }

  /** The level that is heard in a step ahead of the guard. */
  private levelDb(clock: number): number {
    const heard = this.heard.value;
    const level = ({ version, levelsDb, origin, starts, ends }: Voice): number => {
      if (version !== heard || clock + STEP_SECS <= starts || clock >= ends) return -Infinity;
      // Steps of the buffer do not lie under those of the clock: two of them are met.
      const step = Math.floor((clock - origin) / STEP_SECS);
      return Math.max(levelsDb[step] ?? -Infinity, levelsDb[step + 1] ?? -Infinity);
    };
    return Math.max(...this.voices.map(level)) + this.gateDb(heard, this.loudness.value, this.trims.value);
  }

  private levelsOf(buffer: AudioBuffer): number[] {
    const known = this.levels.get(buffer);
    if (known) return known;
    const channels = [buffer.getChannelData(0), buffer.getChannelData(1)];
    const found = levelsOf(channels, Math.round(buffer.sampleRate * STEP_SECS));
    this.levels.set(buffer, found);
    return found;
  }

  private startAt(secs: number): void {
    this.hush();
    this.turn += 1;
    this.runs = [];
    this.next = { frame: Math.round(secs * this.song.audio.rate_hz), time: 0, kind: 'fresh' };
    void this.lineUp(this.turn);
  }

  private hush(): void {
    const now = this.context?.currentTime ?? 0;
    for (const { source, edge } of this.voices) {
      edge.gain.cancelScheduledValues(now);
      edge.gain.setTargetAtTime(0, now, EDGE_SECS / 3);
      source.stop(now + 3 * EDGE_SECS);
    }
    this.voices = [];
    this.changes.clear();
    this.guard.forget(Math.ceil(now / STEP_SECS));
  }

  private readonly follow = (): void => {
    if (!this.playing.value) return;
    if (this.runs.length > 0) this.at.value = this.position();
    if (!this.loop.value && this.at.value >= this.song.secs - 0.02) {
      this.pause();
      this.at.value = 0;
      return;
    }
    requestAnimationFrame(this.follow);
  };

  /** Lines up pieces until enough sound is ahead: once at a time, or a piece would be lined up twice. */
  private async lineUp(turn: number): Promise<void> {
    if (!this.context || this.busy === turn) return;
    this.busy = turn;
    await this.lineUpAll(this.context, turn);
    if (this.busy === turn) this.busy = 0;
  }

  /** A later turn ends an earlier one. */
  private async lineUpAll(context: AudioContext, turn: number): Promise<void> {
    const { rate_hz, piece_frames, frames } = this.song.audio;
    this.voices = this.voices.filter((voice) => voice.ends > context.currentTime);
    while (turn === this.turn && this.playing.value && this.next.frame < frames) {
      const fresh = this.next.kind === 'fresh';
      if (!fresh && this.next.time > context.currentTime + AHEAD_SECS) return;
      const index = Math.floor(this.next.frame / piece_frames);
      let buffers: AudioBuffer[];
      try {
        this.waiting.value = fresh;
        buffers = await this.pieces.all(index);
      } catch (error) {
        this.trouble.value = error instanceof Error ? error.message : 'The audio cannot be decoded.';
        this.pause();
        return;
      }
      if (turn !== this.turn || !this.playing.value) return;
      this.waiting.value = false;
      this.lineUpPiece(context, index, buffers, rate_hz);
    }
  }

  private lineUpPiece(context: AudioContext, index: number, buffers: AudioBuffer[], rate: number): void {
    const { piece_frames, frames } = this.song.audio;
    const levelsDb = buffers.map((buffer) => this.levelsOf(buffer));
    const soonest = Math.ceil((context.currentTime + LEAD_SECS) * rate) / rate;
    if (this.next.kind === 'fresh' || this.next.time < soonest) this.next = { ...this.next, time: soonest, kind: 'fresh' };
    const { frame, time, kind } = this.next;
    const joined = kind === 'joined';
    if (!joined) this.runs.push({ clock: time, from: frame / rate });
    const first = index * piece_frames;
    const end = Math.min(first + piece_frames, frames);
    const loop = this.loop.value;
    const loopEnd = loop ? Math.round(loop[1] * rate) : Number.POSITIVE_INFINITY;
    const turns = frame < loopEnd && loopEnd <= end;
    const stop = time + ((turns ? loopEnd : end) - frame) / rate;
    const { margin } = this.pieces;
    const begin: (() => void)[] = [];
    for (const [version, buffer] of buffers.entries()) {
      const edge = context.createGain();
      const source = context.createBufferSource();
      source.buffer = buffer;
      source.connect(edge).connect(this.gates[version]!);
      const origin = time - (joined ? margin : frame - first + margin) / rate;
      const starts = joined ? origin : time;
      begin.push(() => source.start(starts, starts === origin ? 0 : (frame - first + margin) / rate));
      if (!joined) {
        edge.gain.setValueAtTime(0, time);
        edge.gain.linearRampToValueAtTime(1, time + EDGE_SECS);
      }
      if (turns) {
        edge.gain.setValueAtTime(1, Math.max(time + EDGE_SECS, stop - EDGE_SECS));
        edge.gain.linearRampToValueAtTime(0, stop);
        begin.push(() => source.stop(stop));
      }
      this.voices.push({ version, source, edge, levelsDb: levelsDb[version]!, origin, starts, ends: stop + margin / rate });
    }
    // The guard comes first.
    this.guardFrom(time, !joined);
    for (const start of begin) start();
    this.next = turns
      ? { frame: Math.round((loop?.[0] ?? 0) * rate), time: stop, kind: 'turn' }
      : { frame: end, time: stop, kind: 'joined' };
  }
}

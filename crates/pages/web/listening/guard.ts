// What stands between the player and the ears. As on the desk, the level may not rise above what was let through just before
// faster than 0.5 dB in 10 ms for a second after every change: a start, a jump, a turn of the passage, a switch. Out
// of silence it comes up from -60 dBFS. The page knows what it will play, so gains are planned ahead and cost no delay.

export const STEP_SECS = 0.01;
/** What leaves the page stays below this, whatever a listener adds. */
export const CEILING_DBTP = -1;
/** How fast the level may rise after a change, in each step: 2.5 dB in 50 ms, where 6 are the most. */
const RISE_DB = 0.5;
/** Steps for which a change is watched, and steps that count as what was heard before: a little under three seconds. */
const WATCHED = 100;
const REMEMBERED = 290;
const FROM_SILENCE_DBFS = -60;

type Step = { heardDb: number; gainDb: number; left: number };

/** How long it takes to give way. */
const FALL_SECS = 0.004;

export const gainOf = (db: number): number => 10 ** (db / 20);

const QUIET: Step = { heardDb: -Infinity, gainDb: 0, left: 0 };

export class Guard {
  /** What was heard and will be, by the number of the step on the clock of the sound. */
  private readonly steps = new Map<number, Step>();

  /** Gains in dB for levels from a step on. What was planned from there is forgotten. */
  plan(from: number, levelsDb: readonly number[], changes: ReadonlySet<number>): number[] {
    this.forget(from);
    let state = this.steps.get(from - 1) ?? QUIET;
    return levelsDb.map((levelDb, index) => {
      const at = from + index;
      const left = changes.has(at) ? WATCHED : state.left;
      // Above what was let through, not above what might have been: a rest earns nothing for what comes after it.
      const gainDb = Math.min(0, left > 0 ? this.heardBefore(at) + RISE_DB - levelDb : state.gainDb + RISE_DB);
      state = { heardDb: levelDb + gainDb, gainDb, left: Math.max(0, left - 1) };
      this.steps.set(at, state);
      return gainDb;
    });
  }

  /** The gain with which a step begins. */
  gainAheadOf(step: number): number {
    return this.steps.get(step - 1)?.gainDb ?? 0;
  }

  /** Nothing is heard from a step on; what is too long ago is forgotten, too. */
  forget(from: number): void {
    for (const at of this.steps.keys()) if (at >= from || at < from - REMEMBERED - 1) this.steps.delete(at);
  }

  private heardBefore(at: number): number {
    let most = FROM_SILENCE_DBFS;
    for (let step = at - REMEMBERED; step < at; step += 1) most = Math.max(most, this.steps.get(step)?.heardDb ?? -Infinity);
    return most;
  }
}

/** RMS level of the louder channel, in dBFS, step by step. */
export function levelsOf(channels: readonly Float32Array[], stepFrames: number): number[] {
  const steps = Math.ceil((channels[0]?.length ?? 0) / stepFrames);
  return Array.from({ length: steps }, (_, step) => {
    const power = (samples: Float32Array): number => {
      const stretch = samples.subarray(step * stepFrames, (step + 1) * stepFrames);
      return stretch.reduce((sum, x) => sum + x * x, 0) / stretch.length;
    };
    return 10 * Math.log10(Math.max(...channels.map(power)));
  });
}

/** Plans a gain: down in the last milliseconds before a step, so that nothing clicks, up in a straight line within it. */
export function schedule(gain: AudioParam, from: number, beforeDb: number, gainsDb: readonly number[]): void {
  gain.cancelScheduledValues(from * STEP_SECS - FALL_SECS);
  gain.setValueAtTime(gainOf(beforeDb), from * STEP_SECS - FALL_SECS);
  for (const [index, db] of gainsDb.entries()) {
    const at = (from + index) * STEP_SECS;
    if (db < beforeDb) {
      gain.setValueAtTime(gainOf(beforeDb), at - FALL_SECS);
      gain.linearRampToValueAtTime(gainOf(db), at);
    }
    if (beforeDb < 0 || db < 0) {
      gain.setValueAtTime(gainOf(Math.min(beforeDb, db)), at);
      gain.linearRampToValueAtTime(gainOf(db), at + STEP_SECS);
    }
    beforeDb = db;
  }
}

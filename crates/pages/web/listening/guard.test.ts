import { describe, expect, it } from 'vitest';
import { Guard, levelsOf, STEP_SECS } from './guard';

/** What is heard of levels: levels and gains together. */
const heard = (guard: Guard, from: number, levels: number[], changes: number[]): number[] =>
  guard.plan(from, levels, new Set(changes)).map((gain, step) => gain + levels[step]!);

const steady = (db: number, steps: number): number[] => Array.from({ length: steps }, () => db);

/** The most that the level rises above the three seconds up to 50 ms before, as the desk's test has it. */
function mostRise(levels: readonly number[]): number {
  let most = 0;
  for (let now = 5; now < levels.length; now += 1) {
    const before = Math.max(-60, ...levels.slice(Math.max(0, now - 300), now - 4));
    most = Math.max(most, levels[now]! - before);
  }
  return most;
}

describe('the guard', () => {
  it('lets music through that nobody touches', () => {
    const levels = [...steady(-60, 50), ...steady(-12, 50)];
    expect(heard(new Guard(), 0, levels, [])).toEqual(levels);
  });

  it('brings up slowly what is louder after a change', () => {
    const guard = new Guard();
    const levels = heard(guard, 0, [...steady(-40, 400), ...steady(-10, 200)], [0, 400]);
    expect(levels[400]).toBeCloseTo(-39.5);
    expect(levels[599]).toBe(-10);
    expect(mostRise(levels)).toBeLessThan(3.1);
  });

  it('comes up out of silence', () => {
    const levels = heard(new Guard(), 0, steady(-10, 150), [0]);
    expect(levels[0]).toBeCloseTo(-59.5);
    expect(mostRise(levels)).toBeLessThan(3.1);
  });

  it('lets a rest earn nothing for what comes after it', () => {
    const levels = heard(new Guard(), 0, [...steady(-40, 400), ...steady(-80, 50), ...steady(-10, 200)], [400]);
    expect(levels[450]).toBeCloseTo(-39.5);
  });

  it('forgets what was planned and never heard', () => {
    const guard = new Guard();
    heard(guard, 0, [...steady(-40, 100), ...steady(-10, 500)], []);
    guard.forget(100);
    expect(heard(guard, 106, steady(-10, 50), [106])[0]).toBeCloseTo(-39.5);
  });

  it('holds whatever is done at random', () => {
    let seed = 7;
    const random = (below: number): number => {
      seed = (seed * 48_271) % 2_147_483_647;
      return seed % below;
    };
    const [guard, all]: [Guard, number[]] = [new Guard(), []];
    for (let act = 0; act < 300; act += 1) {
      // Plans reach far ahead, and the next act comes before they are over.
      const levels = steady(-random(60), 400);
      const kept = 1 + random(150);
      all.push(...heard(guard, all.length, levels, [all.length]).slice(0, kept));
    }
    expect(all.length).toBeGreaterThan(5000);
    expect(mostRise(all)).toBeLessThan(6);
  });
});

it('levels are those of the louder channel', () => {
  const [loud, soft] = [new Float32Array(960).fill(0.5), new Float32Array(960).fill(0.1)];
  expect(levelsOf([soft, loud], 480)).toEqual([20 * Math.log10(0.5), 20 * Math.log10(0.5)]);
  expect(STEP_SECS).toBe(0.01);
});

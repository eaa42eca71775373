import { expect, it } from 'vitest';
import { when } from './versions.tsx';

it('says when a version was kept', () => {
  // 27 November 2026, 12:00 universal time, as `date -u -d "2026-11-27 12:00" +%s` has it.
  expect(when(1_795_780_800, 'en-GB')).toMatch(/^27 November/);
});

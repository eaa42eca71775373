import { expect, it } from 'vitest';
import { filled, lowest, octave, octavesInWords, spoken } from './readings.ts';

const heard = {
  momentary_lufs: -14.24, short_term_lufs: null, integrated_lufs: -15, loudness_range_lu: 5.2,
  true_peak_dbtp: -1.02, psr_db: 11.3, correlation: 0.711, octave_correlations: [[63, -0.204], [125, 0.98], [1000, null]] as [number, number | null][],
};

it('says readings with their units, and leaves out what is not known', () => {
  expect(spoken(heard, { name: 'crush', momentary: -31 })).toBe(
    'Momentary −14.2 LUFS, short-term silent, integrated −15.0 LUFS, range 5.2 LU, true peak −1.0 dBTP, peak over short-term 11.3 dB, correlation 0.71, least of its octaves −0.20 at 63 Hz, crush −31.0 LUFS.',
  );
  expect(spoken({ ...heard, integrated_lufs: null, correlation: null }, null)).not.toContain('integrated');
});

it('names octaves', () => {
  expect([63, 1000, 8000].map(octave)).toEqual(['63', '1k', '8k']);
  expect(octavesInWords([[500, 0.5], [2000, -0.001], [4000, null]])).toBe('0.50 at 500 Hz, 0.00 at 2 kHz');
  expect(lowest([[500, null]])).toBeNull();
});

it('fills a bar from −50 to 0', () => {
  expect([null, -60, -50, -25, 0, 3].map(filled)).toEqual([0, 0, 0, 0.5, 1, 1]);
});

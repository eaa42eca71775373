"""Checks `fairprint compare` with NumPy, SciPy and pyloudnorm, on signals that are made here.

Usage: outside_compare.py FAIRPRINT FOLDER

Third octaves: sums of FFT bins between the base-ten edges of IEC 61260-1. Loudness: pyloudnorm with the exact filter of
BS.1770; short-term loudness: that filter's coefficients in SciPy. Delays: a phase ramp in the frequency domain.
Prints one line for each check; ends with 1 if any fails.
"""

import json
import pathlib
import subprocess
import sys

import numpy as np
import pyloudnorm
import soundfile
from scipy import signal

fairprint, folder = sys.argv[1], pathlib.Path(sys.argv[2])
RATE = 48000
failures = 0


def check(what, got, expected, tolerance):
    global failures
    good = got is not None and abs(got - expected) <= tolerance
    failures += not good
    print(f"{'ok  ' if good else 'FAIL'} {what}: {got:.4f} against {expected:.4f} (within {tolerance})")


def hold(what, good):
    global failures
    failures += not good
    print(f"{'ok  ' if good else 'FAIL'} {what}")


def write(name, samples):
    path = folder / name
    soundfile.write(path, samples, RATE, subtype="DOUBLE")
    return str(path)


def ask(*words):
    run = subprocess.run([fairprint, "compare", *words, "--json"], capture_output=True, text=True, check=True)
    return json.loads(run.stdout)


def loudness(samples):
    return pyloudnorm.Meter(RATE, filter_class="DeMan").integrated_loudness(samples)


def bands(samples):
    """Power in each third octave of every column."""
    spectrum = np.abs(np.fft.rfft(samples, axis=0)) ** 2
    hz = np.fft.rfftfreq(len(samples), 1 / RATE)
    centres = 1000 * 10 ** (np.arange(-17, 14) / 10)
    return np.array([spectrum[(hz >= c / 10**0.05) & (hz < c * 10**0.05)].sum(axis=0) for c in centres])


def music(seed, seconds):
    """Decaying bursts of noise on pink noise, wider at the top, nothing above 20 kHz."""
    rng = np.random.default_rng(seed)
    n = seconds * RATE
    hz = np.fft.rfftfreq(n, 1 / RATE)
    slope = np.where(hz > 20, 1 / np.sqrt(np.maximum(hz, 20)), 0) * (hz < 20000)
    pink = np.fft.irfft(np.fft.rfft(rng.standard_normal((n, 2)), axis=0) * slope[:, None], n, axis=0)
    time = np.arange(n) / RATE
    swell = 0.15 + np.exp(-8 * (time % 0.5)) * (1 + 0.5 * np.sin(0.7 * time))
    low = signal.sosfilt(signal.butter(2, 400, fs=RATE, output="sos"), pink[:, 0] - pink[:, 1])
    x = pink * swell[:, None]
    x[:, 0] -= 0.4 * low * swell
    x[:, 1] += 0.4 * low * swell
    # The swell has spread the spectrum; what lies above 20 kHz goes again.
    x = np.fft.irfft(np.fft.rfft(x, axis=0) * (hz < 20000)[:, None], n, axis=0)
    return 0.5 * x / np.abs(x).max()


a = music(1, 20)
path_a = write("a.wav", a)

# A copy: late by a fraction of a sample, turned over, softer.
late = 4321.3
padded = np.vstack([a, np.zeros((RATE, 2))])
ramp = np.exp(-2j * np.pi * np.fft.rfftfreq(len(padded), 1 / RATE) / RATE * late)
copy = -0.6 * np.fft.irfft(np.fft.rfft(padded, axis=0) * ramp[:, None], len(padded), axis=0)
found = ask(path_a, write("copy.wav", copy))
check("delay of a copy", found["delay_samples"], late, 1e-3)
hold("polarity of a copy", found["polarity"] == "inverted")
check("matching gain, pyloudnorm", found["gain_db"], loudness(a) - loudness(copy), 0.05)
matched = copy * 10 ** (found["gain_db"] / 20)
check("loudness once matched, pyloudnorm", loudness(matched), loudness(a), 0.05)
hold(f"null of a copy late by a fraction: {found['null_depth_db']:.1f} dB, under -60 dB", found["null_depth_db"] < -60)

# Another tone and width: a lift around 1.4 kHz, and sides 3 dB down above 2 kHz.
sos = signal.butter(2, [1000, 2000], "bandpass", fs=RATE, output="sos")
b = a + 0.8 * signal.sosfilt(sos, a, axis=0)
side = (b[:, 0] - b[:, 1]) / 2
top = signal.sosfilt(signal.butter(4, 2000, "high", fs=RATE, output="sos"), side)
b = 1.7 * (b + np.column_stack([-top, top]) * (1 - 10 ** (-3 / 20)))
path_b = write("b.wav", b)
found = ask(path_a, path_b)
gain = loudness(a) - loudness(b)
powers = [bands(x) for x in (a, b)]
level = 10 * np.log10(powers[1].sum(axis=1) / powers[0].sum(axis=1)) + gain
got = [db for _, db in found["matched_third_octave_db"]]
worst = max(range(1, 30), key=lambda i: abs(got[i] - level[i]))
check("third octave at matched loudness, the worst", got[worst], level[worst], 0.1)


def width(x):
    mid_side = bands(np.column_stack([x.sum(axis=1), x[:, 0] - x[:, 1]]))
    return 10 * np.log10(mid_side[:, 1] / mid_side[:, 0])


of_a, of_b = width(a), width(b)
got = [[band["a_db"], band["b_db"]] for band in found["width_third_octave_db"]]
worst = max(range(2, 30), key=lambda i: abs(got[i][1] - of_b[i]))
check("width by band, the worst", got[worst][1], of_b[worst], 0.1)
check("width at 1 kHz", got[17][0], of_a[17], 0.1)

# Crest and PSR once a second, in windows of three.
shelf = [1.53512485958697, -2.69169618940638, 1.19839281085285], [1, -1.69065929318241, 0.73248077421585]
pass_high = [1, -2, 1], [1, -1.99004745483398, 0.99007225036621]


def moments(x):
    weighted = signal.lfilter(*pass_high, signal.lfilter(*shelf, x, axis=0), axis=0)
    for end in range(3, len(x) // RATE + 1):
        part = slice((end - 3) * RATE, end * RATE)
        peak = 20 * np.log10(np.abs(x[part]).max())
        rms = 10 * np.log10((x[part] ** 2).mean(axis=0).max())
        short_term = -0.691 + 10 * np.log10((weighted[part] ** 2).mean(axis=0).sum())
        yield peak - rms, peak - short_term


for side_of, x in enumerate((a, b)):
    expected = np.array(list(moments(x)))
    course = found["over_time"]["moments"]
    hold(f"a moment each second: {len(course)}", [m["secs"] for m in course] == list(range(3, 21)))
    got = np.array([[m["crest_db"][side_of], m["psr_db"][side_of]] for m in course])
    check("crest over time, the worst", np.abs(got - expected)[:, 0].max(), 0.0, 0.01)
    check("PSR over time, the worst", np.abs(got - expected)[:, 1].max(), 0.0, 0.01)
    check("median PSR", found["over_time"]["median_psr_db"][side_of], np.median(expected[:, 1]), 0.01)

# A set of three.
others = [music(seed, 12) * gain for seed, gain in ((2, 1.0), (3, 0.3), (4, 0.6))]
tilt = signal.butter(1, 3000, fs=RATE, output="sos")
others[1] = 0.5 * others[1] + 0.5 * signal.sosfilt(tilt, others[1], axis=0)
paths = [write(f"other {i}.wav", x) for i, x in enumerate(others)]
balance = ask(path_b, "--against", *paths)["balance"]
level = np.array([10 * np.log10(bands(x).sum(axis=1) / 2 / len(x) ** 2 * 2) - loudness(x) for x in (b, *others)])
for band in (7, 18, 26):
    standing = balance["third_octave_db"][band][1]
    edges = np.sort(level[1:, band])
    for name, got, expected in zip(("least", "median", "most"), standing["set"], edges):
        check(f"set at band {band}, {name}", got, expected, 0.1)
    beyond = max(level[0, band] - edges[2], 0) + min(level[0, band] - edges[0], 0)
    check(f"outside at band {band}", standing["outside"], beyond, 0.15)

sys.exit(1 if failures else 0)

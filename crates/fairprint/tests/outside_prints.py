"""Checks finished prints with programs and libraries from outside the project.

Usage: outside_prints.py REVISION_FOLDER FFMPEG

Loudness and true peak: ffmpeg's ebur128 filter (its true peak is that of the standard's fourfold filter, hence 0.2 dB)
and pyloudnorm with the exact filter of BS.1770. Loudness range: pyloudnorm alone, since ffmpeg also counts windows that
begin before the song, filled with silence, which widens the range of a song with a quiet start (by 0.5 LU on the demo).
Tags: mutagen and ffprobe. Samples: soundfile reads WAV, AIFF and FLAC, ffmpeg decodes MP3, Opus and Vorbis.
Prints one line for each check; ends with 1 if any fails.
"""

import json
import pathlib
import re
import subprocess
import sys

import mutagen
import numpy as np
import pyloudnorm
import soundfile
from scipy.signal import correlate

folder, ffmpeg = pathlib.Path(sys.argv[1]), sys.argv[2]
report = json.loads((folder / "report.json").read_text())
failures = 0
# Codec by the name that ffprobe gives it, and whether it is lossy, by the ending of the file.
KINDS = {
    ".wav": ("pcm_s24le", False),
    ".aiff": ("pcm_s24be", False),
    ".flac": ("flac", False),
    ".mp3": ("mp3", True),
    ".opus": ("opus", True),
    ".ogg": ("vorbis", True),
}


def check(what, got, expected, tolerance):
    global failures
    good = got is not None and abs(got - expected) <= tolerance
    failures += not good
    print(f"{'ok  ' if good else 'FAIL'} {what}: {got:.3f} against {expected:.3f} (within {tolerance})")


def hold(what, good):
    global failures
    failures += not good
    print(f"{'ok  ' if good else 'FAIL'} {what}")


def ffmpeg_meter(path):
    run = [ffmpeg, "-hide_banner", "-nostats", "-i", path, "-filter_complex", "ebur128=peak=true", "-f", "null", "-"]
    text = subprocess.run(run, capture_output=True, text=True, check=True).stderr
    summary = text[text.rindex("Summary:"):]
    number = lambda pattern: float(re.search(pattern, summary).group(1))
    return number(r"I:\s+(-?[\d.]+) LUFS"), number(r"Peak:\s+(-?[\d.]+) dBFS")


def decoded(path, rate):
    if KINDS[path.suffix][1]:
        run = [ffmpeg, "-v", "error", "-i", path, "-f", "f64le", "-ac", "2", "-ar", str(rate), "-"]
        return np.frombuffer(subprocess.run(run, capture_output=True, check=True).stdout).reshape(-1, 2)
    return soundfile.read(path)[0]


def probed(path):
    """Codec, and tags of container and stream, as ffprobe tells them."""
    ffprobe = pathlib.Path(ffmpeg).with_name("ffprobe")
    run = [ffprobe, "-v", "error", "-show_format", "-show_streams", "-of", "json", path]
    told = json.loads(subprocess.run(run, capture_output=True, check=True).stdout)
    stream = told["streams"][0]
    tags = {**told["format"].get("tags", {}), **stream.get("tags", {})}
    return stream["codec_name"], {key.lower(): value for key, value in tags.items()}


by_print = {}
for file in report["prints"]:
    path = folder / pathlib.Path(file["path"]).name
    measures, rate = file["measures"], report["rate_hz"]
    loudness, peak = ffmpeg_meter(path)
    check(f"{path.name} integrated loudness, ffmpeg", measures["integrated_lufs"], loudness, 0.1)
    check(f"{path.name} true peak, ffmpeg", measures["true_peak_dbtp"], peak, 0.2)
    samples = decoded(path, rate)
    meter = pyloudnorm.Meter(rate, filter_class="DeMan")
    check(f"{path.name} integrated loudness, pyloudnorm", measures["integrated_lufs"], meter.integrated_loudness(samples), 0.1)
    check(f"{path.name} loudness range, pyloudnorm", measures["loudness_range_lu"], meter.loudness_range(samples), 0.1)
    hold(f"{path.name} is as long as the song: {len(samples)} frames", len(samples) == report["frames"])
    tags = mutagen.File(path)
    text = str(dict(tags.tags or {})) if path.suffix != ".wav" else path.read_bytes()[:8192].decode("latin-1")
    hold(f"{path.name} names the song and the artist", report["title"] in text and report["artist"] in text)
    hold(f"{path.name} names its revision", report["revision"] in text)
    codec, told = probed(path)
    named = (told.get("title"), told.get("artist")) == (report["title"], report["artist"])
    hold(f"{path.name} is {codec} and names song and artist, ffprobe", codec == KINDS[path.suffix][0] and named)
    by_print.setdefault(file["name"], []).append((path, samples))

for name, files in by_print.items():
    lossless = [samples for path, samples in files if not KINDS[path.suffix][1]]
    for path, samples in files:
        if KINDS[path.suffix][1] and lossless:
            # Frame for frame in time with the lossless file: the correlation is highest at no delay.
            a, b = lossless[0][:480000, 0], samples[:480000, 0]
            lag = int(np.argmax(correlate(b, a, mode="full", method="fft"))) - (len(a) - 1)
            hold(f"{path.name} is in time with the lossless file: {lag} frames", lag == 0)
            gain = float(np.dot(a, b) / np.dot(a, a))
            check(f"{path.name} level against the lossless file in dB", 20 * np.log10(gain), 0.0, 0.1)

sys.exit(1 if failures else 0)

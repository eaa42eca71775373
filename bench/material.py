"""Makes what the bench works on: seeded parts, a mix of them, a decaying response, and the sheets.

usage: material.py FOLDER. Makes FOLDER/SECONDS for each length, once; the sheets are written anew each time.
"""

import os
import sys

import numpy
import soundfile

import sheets

RATE_HZ = 48_000
BEAT = RATE_HZ // 2
SEED = 20_240
SHORT, QUARTER, SONG, LONG = 5, 60, 240, 1200

# Fundamental in Hz (none: noise), beats between strikes, seconds to fall by 60 dB, pan from -1 to 1, peak.
PARTS = [
    (52, 1, 0.4, 0.0, 0.50),
    (None, 2, 0.3, 0.1, 0.40),
    (None, 0.25, 0.08, 0.4, 0.20),
    (None, 1, 0.9, -0.1, 0.20),
    (41, 0.5, 1.0, 0.0, 0.40),
    (82, 4, 8.0, 0.0, 0.25),
    (196, 1, 1.5, -0.4, 0.25),
    (147, 0.5, 2.0, 0.6, 0.25),
    (262, 4, 9.0, -0.2, 0.20),
    (220, 0.75, 1.2, 0.0, 0.45),
    (221, 0.75, 1.2, -0.6, 0.20),
    (330, 1.5, 1.8, 0.6, 0.20),
]
STEPS = [1, 9 / 8, 5 / 4, 3 / 2]


def strike(random, hz, fall_s):
    """One decaying note, harmonics as 1/k, or a burst of noise."""
    time = numpy.arange(int(1.2 * fall_s * RATE_HZ)) / RATE_HZ
    if hz is None:
        note = random.normal(0, 1, len(time))
    else:
        harmonics = range(1, min(24, int(18_000 / hz)) + 1)
        note = sum(numpy.sin(2 * numpy.pi * k * hz * time + random.uniform(0, 6)) / k for k in harmonics)
    return note * 10 ** (-3 * time / fall_s) * numpy.minimum(1, time / 0.002)


def part(number, seconds):
    """A stereo part: strikes of changing pitch and strength."""
    hz, beats, fall_s, pan, peak = PARTS[number]
    random = numpy.random.default_rng([SEED, number])
    notes = [strike(random, hz and hz * step, fall_s) for step in STEPS]
    frames = seconds * RATE_HZ
    line = numpy.zeros(frames)
    for at in range(0, frames, int(beats * BEAT)):
        note = notes[random.integers(len(notes))]
        line[at : at + len(note)] += random.uniform(0.4, 1) * note[: frames - at]
    line *= peak / numpy.max(numpy.abs(line))
    angle = (pan + 1) * numpy.pi / 4
    return numpy.stack([numpy.cos(angle) * line, numpy.sin(angle) * numpy.roll(line, 9)], axis=1)


def response(seconds=2.5, fall_s=1.8):
    """Stereo noise that falls by 60 dB in `fall_s`, of unit energy in each channel."""
    random = numpy.random.default_rng([SEED, 99])
    frames = int(seconds * RATE_HZ)
    noise = random.normal(0, 1, (frames, 2)) * 10 ** (-3 * numpy.arange(frames) / RATE_HZ / fall_s)[:, None]
    return noise / numpy.sqrt(numpy.sum(noise**2, axis=0))


def write(path, frames, rate_hz=RATE_HZ, subtype="PCM_24"):
    """One file, under its name only when it is whole."""
    hidden = f"{path}.part"
    soundfile.write(hidden, frames, rate_hz, subtype=subtype, format="WAV")
    os.replace(hidden, path)


def make(folder):
    """All audio, each length in a folder of its own."""
    folders = {seconds: f"{folder}/{seconds}" for seconds in (SHORT, QUARTER, SONG, LONG)}
    for place in folders.values():
        os.makedirs(f"{place}/stems", exist_ok=True)
    mix = 0
    for number in range(len(PARTS)):
        song = part(number, SONG)
        mix = mix + song
        name = f"stems/{sheets.stem(number)}.wav"
        for seconds in (SHORT, QUARTER, SONG):
            write(f"{folders[seconds]}/{name}", song[: seconds * RATE_HZ])
        # Twelve files of twenty minutes would be 4 GB: four of them stand under three names each.
        first = f"{folders[LONG]}/stems/{sheets.stem(number % 4)}.wav"
        if number < 4:
            write(first, numpy.tile(song, (LONG // SONG, 1)))
        elif not os.path.exists(f"{folders[LONG]}/{name}"):
            os.link(first, f"{folders[LONG]}/{name}")
    mix *= 0.5 / numpy.max(numpy.abs(mix))
    for seconds, place in folders.items():
        write(f"{place}/response.wav", response(), subtype="FLOAT")
        if seconds in (SHORT, SONG):
            short = mix[: seconds * RATE_HZ]
            write(f"{place}/mix.wav", short)
            write(f"{place}/hot.wav", numpy.clip(1.99 * short, -1, 1))
            write(f"{place}/mix_44100.wav", mix[: seconds * 44_100], 44_100)


def main(folder):
    """Audio where it is missing, and the sheets."""
    done = f"{folder}/complete-{SEED}"
    if not os.path.exists(done):
        make(folder)
        open(done, "w").close()
    for seconds in (SHORT, QUARTER, SONG, LONG):
        for name, text in sheets.all_sheets().items():
            with open(f"{folder}/{seconds}/{name}.toml", "w") as sheet:
                sheet.write(text)


main(sys.argv[1])

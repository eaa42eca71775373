"""Checks our files with libraries of others, and makes files with them for us to read.

    outside_media.py check FOLDER    reads the files that tests/outside.rs wrote
    outside_media.py make FOLDER     writes files, and a line for each: name, frames, channels, exact or lossy
    outside_media.py frames FILE     prints the length of a file

Needs numpy, soundfile (libsndfile) and mutagen.
"""

import sys
from pathlib import Path

import mutagen.aiff
import mutagen.flac
import mutagen.id3
import mutagen.mp3
import numpy as np
import soundfile

FRAMES = 50_001
RATE_HZ = 44_100


def noise():
    """The signal of tests/outside.rs: a fixed scramble that 16 bits hold exactly."""
    i = np.arange(FRAMES, dtype=np.int64)
    left = (i * 7919) % 65_535 - 32_767
    right = (i * 104_729 + 12_345) % 65_535 - 32_767
    return np.stack([left, right], axis=1) / 32_768


def tones():
    """The signal of the lossy files: a sweep and a tone."""
    t = np.arange(FRAMES) / RATE_HZ
    left = 0.4 * np.sin(2 * np.pi * (200 * t + 1000 * t * t))
    right = 0.3 * np.sin(2 * np.pi * 660 * t)
    return np.stack([left, right], axis=1)


def check_exact(folder):
    for name, subtype in [
        ("int16.wav", "PCM_16"),
        ("int24.wav", "PCM_24"),
        ("float32.wav", "FLOAT"),
        ("float64.wav", "DOUBLE"),
        ("sixteen.aiff", "PCM_16"),
        ("twentyfour.aiff", "PCM_24"),
        ("sixteen.flac", "PCM_16"),
        ("twentyfour.flac", "PCM_24"),
    ]:
        info = soundfile.info(folder / name)
        assert (info.subtype, info.frames, info.samplerate) == (subtype, FRAMES, RATE_HZ), (name, info)
        samples, _ = soundfile.read(folder / name, dtype="float64")
        assert np.array_equal(samples, noise()), name


def check_tags(folder):
    with soundfile.SoundFile(folder / "int24.wav") as file:
        metadata = file.copy_metadata()
    assert metadata["title"] == "Lantern Weather", metadata
    assert metadata["artist"] == "The Tin Orchard", metadata

    flac = mutagen.flac.FLAC(folder / "sixteen.flac")
    for key, value in [("title", "Lantern Weather"), ("isrc", "ZZTOR2600001"), ("version", "für Ines"), ("bpm", "92")]:
        assert flac[key] == [value], (key, flac.tags)
    assert flac["mixer"] == ["Ines Okafor"] and flac.seektable is not None, flac.tags

    for tags in (mutagen.id3.ID3(folder / "tones.mp3"), mutagen.aiff.AIFF(folder / "twentyfour.aiff").tags):
        check_id3(tags)


def check_id3(tags):
    assert tags.version == (2, 4, 0), tags.version
    for key, value in [
        ("TIT2", "Lantern Weather"),
        ("TPE1", "The Tin Orchard"),
        ("TALB", "Paper Weather"),
        ("TIT3", "für Ines"),
        ("TSRC", "ZZTOR2600001"),
        ("TDRC", "2026-03-01"),
        ("TBPM", "92"),
        ("TKEY", "F#m"),
        ("COMM::eng", "r003"),
    ]:
        assert str(tags[key].text[0]) == value, (key, tags[key])
    assert tags["TIPL"].people == [["mixer", "Ines Okafor"], ["producer", "Bram Solberg"]], tags["TIPL"]


def check_mp3(folder):
    info = mutagen.mp3.MP3(folder / "tones.mp3").info
    # The bit rate is computed from the length, which ends within a frame.
    assert abs(info.bitrate - 192_000) < 100 and (info.sample_rate, info.channels) == (RATE_HZ, 2), info.pprint()
    assert info.encoder_info.startswith("LAME 3.100"), info.encoder_info
    samples, _ = soundfile.read(folder / "tones.mp3", dtype="float64")
    assert len(samples) == FRAMES, len(samples)
    inner = slice(3000, FRAMES - 3000)
    error = lambda lag: np.sum((np.roll(samples, -lag, axis=0) - tones())[inner] ** 2)
    lags = range(-1300, 1301)
    assert min(lags, key=error) == 0, min(lags, key=error)
    assert error(0) < 1e-3 * np.sum(tones()[inner] ** 2), error(0)


def make(folder):
    kinds = [("wav", "WAV", s) for s in ("PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE")]
    kinds += [("wav", "WAVEX", s) for s in ("PCM_16", "PCM_24", "DOUBLE")]
    kinds += [("wav", "RF64", s) for s in ("PCM_16", "PCM_24", "FLOAT")]
    kinds += [("aiff", "AIFF", s) for s in ("PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE")]
    kinds += [("caf", "CAF", s) for s in ("PCM_16", "PCM_24", "FLOAT")]
    kinds += [("flac", "FLAC", s) for s in ("PCM_16", "PCM_24")]
    kinds += [("ogg", "OGG", "VORBIS"), ("mp3", "MP3", "MPEG_LAYER_III")]
    for ending, container, subtype in kinds:
        exact = subtype not in ("VORBIS", "MPEG_LAYER_III")
        for channels in (1, 2):
            name = f"{container}-{subtype}-{channels}.{ending}".lower()
            samples = (noise() if exact else tones())[:, :channels]
            soundfile.write(folder / name, samples, RATE_HZ, subtype=subtype, format=container)
            print(name, FRAMES, channels, "exact" if exact else "lossy")


def main():
    task, path = sys.argv[1], Path(sys.argv[2])
    if task == "check":
        check_exact(path)
        check_tags(path)
        check_mp3(path)
    elif task == "make":
        make(path)
    elif task == "frames":
        info = soundfile.info(path)
        print(info.frames, info.format, info.subtype)
    else:
        sys.exit(f"no task {task}")


if __name__ == "__main__":
    main()

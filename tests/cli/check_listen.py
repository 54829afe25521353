#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""`listen` as NumPy and SciPy hear it: impulses, sines, strings, true peak, formats, bad input.

Usage: check_listen.py BUILD_DIR. Recordings are written and answers read here byte by byte, so that
no library of the program's own stands on both sides.
"""

import json
import os
import pathlib
import resource
import signal
import struct
import subprocess
import time

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import scipy.optimize
import scipy.signal

import cases

SOURCE = pathlib.Path(__file__).resolve().parents[2]
RIGS = SOURCE / "models/rigs"
OTHER = ("rig: other\n" + cases.GUITAR +
         "chain:\n  - cable: {capacitance: 100 pF/m}\n    length: 12 m\n" + cases.AMP)

# Into a low input a small coupling capacitor goes down to 7 Hz only.
COUPLED = ("rig: coupled\nguitar:\n  source: {output: {resistance: 2 kohm, coupling: 4.7 uF}}\nchain:\n"
           "  - pedal: {bypass: true-bypass, input: {resistance: 1 Mohm}, output: {resistance: 10 kohm, coupling: 100 nF}}\n"
           "    engaged: yes\namp: {resistance: 220 kohm}\n")


def pack_samples(x, kind):
    """Samples of -1 to 1 as the bytes of a WAV file's data, channels in columns."""
    x = np.atleast_2d(x.T).T.reshape(-1)
    if kind in ("float", "double"):
        return x.astype("<f4" if kind == "float" else "<f8").tobytes()
    bits = int(kind)
    whole = np.clip(np.round(x * 2 ** (bits - 1)), -2 ** (bits - 1), 2 ** (bits - 1) - 1).astype("<i8")
    if bits == 8:
        return (whole + 128).astype("u1").tobytes()
    return whole.view("u1").reshape(-1, 8)[:, :bits // 8].tobytes()


def wav(x, rate, kind, extensible=False, channels=None):
    """A WAV file (RIFF; format tags 1, 3 and 0xfffe)."""
    channels = channels if channels is not None else (1 if x.ndim == 1 else x.shape[1])
    bits = {"float": 32, "double": 64}.get(kind) or int(kind)
    tag = 3 if kind in ("float", "double") else 1
    form = struct.pack("<HHIIHH", 0xfffe if extensible else tag, channels, rate,
                       rate * channels * bits // 8, channels * bits // 8, bits)
    if extensible:
        form += struct.pack("<HHIH", 22, bits, 0, tag) + bytes.fromhex("000000001000800000aa00389b71")
    data = pack_samples(x, kind)
    body = b"WAVE" + b"fmt " + struct.pack("<I", len(form)) + form
    body += b"data" + struct.pack("<I", len(data)) + data + b"\0" * (len(data) % 2)
    return b"RIFF" + struct.pack("<I", len(body)) + body


def read_answer(data):
    """Rate and samples of a file that listen wrote: 32-bit float."""
    assert data[:4] == b"RIFF" and data[8:12] == b"WAVE", data[:12]
    at, form = 12, None
    while True:
        name, size = data[at:at + 4], struct.unpack("<I", data[at + 4:at + 8])[0]
        at += 8
        if name == b"fmt ":
            form = struct.unpack("<HHIIHH", data[at:at + 16])
        if name == b"data":
            break
        at += size + size % 2
    assert form[0] == 3 and form[5] == 32 and len(data) == at + size, form
    x = np.frombuffer(data[at:at + size], "<f4").astype(float)
    return form[2], x.reshape(-1, form[1])


class Listen:
    """Runs listen and holds its answers."""

    def __init__(self, c):
        self.c = c

    def run(self, rig, *words, out="out"):
        done = self.c.run("listen", str(rig), "--out", out, "--json", *words)
        if not self.c.check(done.returncode == 0, "listen", rig, words, done.stderr):
            raise SystemExit(1)
        answer = json.loads(done.stdout)
        sounds = {}
        for file in answer["files"]:
            rate, x = read_answer(self.c.read(os.path.join(out, file["file"])))
            self.c.check(rate == answer["rate_hz"] and x.shape == (answer["frames"], answer["channels"]),
                         "shape of", file["file"], rate, x.shape)
            sounds[file["file"]] = x
        return answer, sounds

    def responses(self, rig, points):
        """Amp and line-up to (Hz, H) by `response`."""
        done = self.c.run("response", str(rig), "--json", "--points", str(points))
        found = {}
        for r in json.loads(done.stdout)["responses"]:
            hz, db, deg = np.array([[p["hz"], p["db"], p["deg"]] for p in r["points"]]).T
            found[r["name"], r["amp"]] = hz, 10 ** (db / 20) * np.exp(1j * np.radians(deg))
        return found


def transform(x, hz, rate, start):
    """The Fourier transform of samples at any frequencies, `start` being time 0. The turn of sample
    (row, column) is that of its row times that of its column: few exponentials for many samples."""
    width = 64
    rows = np.append(x, np.zeros(-len(x) % width)).reshape(-1, width)
    turns = -2j * np.pi * np.asarray(hz) / rate
    within = np.exp(np.outer(turns, np.arange(width)))
    to_row = np.exp(np.outer(turns, np.arange(len(rows)) * width - start))
    return np.sum(to_row * (within @ rows.T), axis=1)


def off(found, wanted):
    ratio = found / wanted
    return np.max(np.abs(20 * np.log10(np.abs(ratio)))), np.max(np.abs(np.degrees(np.angle(ratio))))


def check_impulses(c, l):
    c.group("impulses")
    worst_db = worst_deg = early = 0
    for rig, rates in ((RIGS / "long-cable.yaml", (44100, 48000, 88200, 96000, 176400, 192000)),
                       (RIGS / "buffered-board.yaml", (44100, 48000, 96000)),
                       (RIGS / "fuzz-first.yaml", (44100, 96000)), (RIGS / "two-amps.yaml", (44100, 48000))):
        found = l.responses(rig, 120)
        for rate in rates:
            start = 4000
            x = np.zeros(5000)
            x[start] = 1
            c.write("impulse.wav", wav(x, rate, "float"))
            answer, sounds = l.run(rig, "--input", "impulse.wav")
            delay = answer["delay_samples"]
            c.check(delay <= rate / 1000, "delay", delay, rate)
            for file in answer["files"]:
                y = sounds[file["file"]][:, 0]
                hz, h = found[file["name"], file["amp"]]
                band = (hz >= 50) & (hz <= 18000)
                got = transform(y, hz[band], rate, start + delay) / 10 ** (file["gain_db"] / 20)
                db, deg = off(got, h[band])
                c.check(db < 0.01 and deg < 0.1, rig.name, rate, file["file"], db, "dB", deg, "degrees")
                c.check(file["error_db"] < 0.01 and file["error_degrees"] < 0.1, "says", file)
                before = y[:start + delay - rate // 1000]
                ring = 20 * np.log10(max(np.max(np.abs(before)), 1e-12) / np.max(np.abs(y)))
                c.check(ring < -80, rig.name, rate, file["file"], "rings at", ring, "dB")
                worst_db, worst_deg, early = max(worst_db, db), max(worst_deg, deg), max(early, ring + 240)
    print(f"  FFT of an impulse against H, 50 Hz to 18 kHz: {worst_db:.5f} dB, {worst_deg:.5f} degrees; "
          f"earlier than 1 ms: {early - 240:.0f} dB")


def check_sines(c, l):
    c.group("sines")
    rig = RIGS / "long-cable.yaml"
    found = l.responses(rig, 31)
    worst_db = worst_deg = 0
    for index in (5, 12, 20, 22, 25, 29):
        rate = 48000
        hz = found["rig", "amp"][0][index]
        n = np.arange(rate)
        c.write("sine.wav", wav(0.5 * np.cos(2 * np.pi * hz * n / rate), rate, "32"))
        answer, sounds = l.run(rig, "--input", "sine.wav")
        for file in answer["files"]:
            y = sounds[file["file"]][:, 0]
            middle = np.arange(rate // 4, 3 * rate // 4)
            phase = 2 * np.pi * hz * (middle - answer["delay_samples"]) / rate
            part, *_ = np.linalg.lstsq(np.array([np.cos(phase), -np.sin(phase)]).T, y[middle], rcond=None)
            got = (part[0] + 1j * part[1]) / 0.5 / 10 ** (file["gain_db"] / 20)
            db, deg = off(np.array([got]), found[file["name"], file["amp"]][1][index])
            c.check(db < 0.01 and deg < 0.1, "sine", hz, file["file"], db, deg)
            worst_db, worst_deg = max(worst_db, db), max(worst_deg, deg)
    print(f"  sines against |H| and its phase: {worst_db:.5f} dB, {worst_deg:.5f} degrees")


def true_peak_db(x):
    """By SciPy's own interpolation to four times the rate."""
    dense = np.vstack([scipy.signal.resample_poly(np.pad(channel, 200), 4, 1, window=("kaiser", 10))
                       for channel in x.T])
    return 20 * np.log10(np.max(np.abs(dense)))


def check_strings(c, l):
    c.group("strings")
    answer, sounds = l.run(RIGS / "long-cable.yaml", "--vary", "chain[0].length=1 m,12 m")
    # Semitones from A4 = 440 Hz (ISO 16); equal temperament.
    wanted = {"E2": -29, "A2": -24, "D3": -19, "G3": -14, "B3": -10, "E4": -5}
    rate, worst = answer["rate_hz"], 0
    c.check([n["name"] for n in answer["notes"][:6]] == list(wanted), answer["notes"])
    for note in answer["notes"][:6]:
        hz = 440 * 2 ** (wanted[note["name"]] / 12)
        x = sounds["direct.wav"][int((note["start_s"] + 0.1) * rate):int((note["start_s"] + 1.4) * rate), 0]
        x = x * np.hanning(len(x))
        t = np.arange(len(x)) / rate
        best = scipy.optimize.minimize_scalar(lambda cents: -abs(x @ np.exp(-2j * np.pi * hz * 2 ** (cents / 1200) * t)),
                                              bounds=(-30, 30), method="bounded", options={"xatol": 1e-4})
        c.check(abs(best.x) < 1, note, best.x, "cents")
        worst = max(worst, abs(best.x))
    print(f"  open strings against ISO 16: {worst:.3f} cents")
    names = ["direct.wav", "rig.wav", "variant-01.wav", "variant-02.wav"]
    c.check(list(sounds) == names, list(sounds))
    c.check(len({f["gain_db"] for f in answer["files"]}) == 1, "one gain", answer["files"])
    c.check([f["set"] for f in answer["files"]][2:] == [{"chain[0].length": "1 m"}, {"chain[0].length": "12 m"}], answer)
    again, others = l.run(RIGS / "long-cable.yaml", "--vary", "chain[0].length=1 m,12 m", out="again")
    c.check(all(c.read("out/" + n) == c.read("again/" + n) for n in names), "the same bytes")
    c.check(b"PEAK" not in c.read("out/rig.wav")[:200], "a time of day in the file")
    moved, sounds = l.run(RIGS / "long-cable.yaml", "--vary", "guitar.pickup.inductance=2 H,5 H")
    c.check(list(sounds) == ["direct.wav", "rig.wav", "variant-01.wav", "variant-01-direct.wav", "variant-02.wav",
                             "variant-02-direct.wav"], "directs that move", list(sounds))


def check_peaks(c, l):
    c.group("true peak")
    rng = np.random.default_rng(3)
    rate = 44100
    quarter = np.cos(np.pi / 2 * np.arange(8000) + np.pi / 4) * np.hanning(8000)
    sounds = {"strings": None, "noise": rng.uniform(-1, 1, 20000), "stereo": rng.uniform(-0.1, 1, (9000, 2)),
              "quarter": quarter, "last sample": np.r_[np.zeros(50), 1]}
    worst = {}
    for name, x in sounds.items():
        words = []
        if x is not None:
            c.write("x.wav", wav(x, rate, "24"))
            words = ["--input", "x.wav"]
        for more in ([], ["--match-level"]):
            answer, files = l.run(RIGS / "long-cable.yaml", *words, *more)
            said = [f["true_peak_dbtp"] for f in answer["files"]]
            found = [true_peak_db(y) for y in files.values()]
            c.check(max(found) < -1 and abs(max(said) + 1.1) < 1e-6, name, more, found, said)
            gap = max(abs(a - b) for a, b in zip(said, found))
            # BS.1770's filter of 48 taps reads some tenths of a dB too much at the top of the band.
            c.check(gap < (0.05 if x is None else 0.5), name, more, said, found)
            worst[name] = max(worst.get(name, 0), gap)
    print("  against SciPy's resample_poly: " + ", ".join(f"{k} {v:.3f} dB" for k, v in worst.items()))


def check_levels(c, l):
    c.group("levels")
    rig = RIGS / "long-cable.yaml"
    x = np.zeros(100)
    x[0] = 1
    c.write("impulse.wav", wav(x, 96000, "float"))
    words = ["--input", "impulse.wav", "--vary", "guitar.volume.position=50 %,100 %"]
    loud, _ = l.run(rig, *words)
    answer, sounds = l.run(rig, *words, "--match-level")
    # Bands of one ERB around the numbers 6 to 15 (Glasberg and Moore 1990: 200 Hz to 1 kHz).
    means = []
    for y in sounds.values():
        levels = []
        for number in range(6, 16):
            n = number - 0.5 + (np.arange(400) + 0.5) / 400
            h = transform(y[:, 0], 1000 * (10 ** (n / 21.4) - 1) / 4.37, 96000, 0)
            levels.append(10 * np.log10(np.mean(np.abs(h) ** 2)))
        means.append(np.mean(levels))
    c.check(np.ptp(means) < 0.01, "matched levels", means)
    c.check(np.ptp([f["level_db"] for f in loud["files"]]) > 3, "the levels were matched before", loud)
    for before, after in zip(loud["files"], answer["files"]):
        c.check(before["level_db"] == after["level_db"], before, after)
        c.check(abs(after["gain_db"] - answer["gain_db"] + after["level_db"]) < 1e-6, after)
        c.check(before["gain_db"] == loud["gain_db"], before)
    print(f"  levels after matching differ by {np.ptp(means):.5f} dB")


def check_formats(c, l):
    c.group("formats")
    rig = RIGS / "long-cable.yaml"
    rng = np.random.default_rng(4)
    worst = 0
    kinds = ("16", "24", "32", "float", "double", "8")
    for turn, rate in enumerate((48000, 8000, 44100, 96000, 192000)):
        x = np.zeros(10)
        x[0] = 1
        c.write("x.wav", wav(x, rate, "double"))
        answer, sounds = l.run(rig, "--input", "x.wav")
        taps = {f["file"]: sounds[f["file"]][:, 0] / 10 ** (f["gain_db"] / 20) for f in answer["files"]}
        for at, kind in enumerate(kinds):
            for channels in (1, 2):
                x = rng.uniform(-0.9, 0.9, (3000, channels))
                for extensible in (False, True):
                    if turn and (at + turn) % 4 != 2 * (channels - 1) + extensible:
                        continue  # all forms at one rate; at each other rate every kind, in turns of form
                    c.write("x.wav", wav(x, rate, kind, extensible))
                    answer, sounds = l.run(rig, "--input", "x.wav")
                    c.check(answer["channels"] == channels, rate, kind, channels, answer["channels"])
                    for f in answer["files"]:
                        y = sounds[f["file"]] / 10 ** (f["gain_db"] / 20)
                        z = np.array([scipy.signal.fftconvolve(column, taps[f["file"]])[:len(y)] for column in x.T]).T
                        gap = np.max(np.abs(y[:len(z)] - z))
                        limit = 0.02 if kind == "8" else 2e-4 if kind == "16" else 5e-6
                        c.check(gap < limit, rate, kind, channels, extensible, f["file"], gap)
                        worst = max(worst, 0 if kind in ("8", "16") else gap)
    print(f"  24 bit and finer, against SciPy's fftconvolve: {worst:.2e} of full scale")


def check_through(c, l):
    c.group("recorded through")
    c.write("rig.yaml", cases.RIG)
    c.write("other.yaml", OTHER)
    rng = np.random.default_rng(5)
    rate = 48000
    b = scipy.signal.firwin(201, 15000, fs=rate)
    dry = scipy.signal.lfilter(b, 1, rng.uniform(-0.5, 0.5, 12000))
    c.write("dry.wav", wav(dry, rate, "float"))
    first, _ = l.run("other.yaml", "--input", "dry.wav", out="made")
    answer, sounds = l.run("other.yaml", "--input", "made/rig.wav", "--recorded-through", "other.yaml", "--max-gain", "60")
    y = sounds["rig.wav"][:, 0] / 10 ** ((answer["files"][1]["gain_db"] + first["files"][1]["gain_db"]) / 20)
    # Through the rig, out of it, and through the rig again: what the first pass gave, later.
    made = read_answer(c.read("made/rig.wav"))[1][:, 0] / 10 ** (first["files"][1]["gain_db"] / 20)
    gap = np.max(np.abs(y[answer["delay_samples"]:][:len(made)] - made)) / np.max(np.abs(made))
    c.check(gap < 1e-3, "what went through a rig and is taken out of it again", gap)
    print(f"  a rig taken out and put back: {20 * np.log10(gap):.0f} dB of error")
    found, before = l.responses("rig.yaml", 60), l.responses("other.yaml", 60)
    x = np.zeros(3000)
    x[2000] = 1
    c.write("impulse.wav", wav(x, rate, "float"))
    for limit in (3, 6, 20):
        answer, sounds = l.run("rig.yaml", "--input", "impulse.wav", "--recorded-through", "other.yaml",
                               "--max-gain", str(limit))
        hz, h = found["rig", "amp"]
        wanted = h / before["rig", "amp"][1]
        y = sounds["rig.wav"][:, 0] / 10 ** (answer["files"][1]["gain_db"] / 20)
        dense = np.abs(np.fft.rfft(y, 2 ** 17))
        c.check(np.max(dense) <= 10 ** (limit / 20) * (1 + 1e-6), "limit", limit, 20 * np.log10(np.max(dense)))
        low = (hz >= 50) & (hz <= 18000) & (np.abs(wanted) < 0.5 * 10 ** (limit / 20))
        got = transform(y, hz[low], rate, 2000 + answer["delay_samples"])
        if np.any(low):
            db, deg = off(got, wanted[low])
            c.check(db < 0.05 and deg < 0.5, "ratio under the limit", limit, db, deg)
        limited = answer["files"][1]["limited_low_hz"]
        c.check((limited is not None) == bool(np.any(np.abs(wanted[(hz > 50) & (hz < 18000)]) > 0.97 * 10 ** (limit / 20))),
                "says that it limits", limit, limited, np.max(np.abs(wanted)))


def check_coupled(c, l):
    c.group("recorded through a coupling capacitor")
    c.write("rig.yaml", cases.RIG)
    c.write("coupled.yaml", COUPLED)
    x = np.zeros(3000)
    x[2000] = 1
    c.write("impulse.wav", wav(x, 48000, "float"))
    answer, sounds = l.run("rig.yaml", "--input", "impulse.wav", "--recorded-through", "coupled.yaml")
    hz, h = l.responses("rig.yaml", 60)["rig", "amp"]
    wanted = h / l.responses("coupled.yaml", 60)["rig", "amp"][1]
    heard = (hz >= 100) & (hz <= 18000) & (np.abs(wanted) < 5)
    y = sounds["rig.wav"][:, 0] / 10 ** (answer["files"][1]["gain_db"] / 20)
    db, _ = off(transform(y, hz[heard], 48000, 2000 + answer["delay_samples"]), wanted[heard])
    c.check(db < 0.05, "what cannot be heard leaves what can be heard alone", db)
    c.check(answer["files"][1]["limited_low_hz"] > 1000, "of what is heard only the tall peak is limited")
    c.check(0.1 < answer["files"][1]["not_restored_below_hz"] < 7, answer["files"][1])
    done = c.run("listen", "rig.yaml", "--out", "out", "--input", "impulse.wav", "--recorded-through", "coupled.yaml")
    c.check(b"what was lost is not brought back; at 50 Hz" in done.stdout, done.stdout)


def check_bad_input(c, l):
    c.group("bad input")
    c.write("rig.yaml", cases.RIG)
    x = 0.1 * np.ones(300000)
    good = wav(x, 44100, "16")
    nan = x.copy()
    nan[250000] = np.nan
    c.write("good.wav", good)
    rows = {"empty.wav": (b"", "is empty"), "text.wav": (b"not a sound at all, just words", "no WAV file"),
            "cut.wav": (good[:5000], "cut short"), "head.wav": (good[:30], "cut short"),
            "none.wav": (wav(np.zeros(0), 44100, "16"), "no sound"),
            "zero.wav": (wav(x[:10], 44100, "16", channels=0), "0 channels"),
            "three.wav": (wav(np.zeros((10, 3)), 44100, "16"), "3 channels"),
            "nan.wav": (wav(nan, 44100, "float"), "sample 250000 (at 5.669 s) is not a number"),
            "inf.wav": (wav(np.r_[x, np.inf], 44100, "float"), "is infinite"),
            "fast.wav": (wav(x[:10], 384000, "16"), "384000 Hz"), "slow.wav": (wav(x[:10], 4000, "16"), "4000 Hz"),
            "aiff.wav": (b"FORM\0\0\0\0AIFFCOMM", "no WAV file")}
    for name, (data, words) in rows.items():
        c.write(name, data)
        refuse(c, 2, words, "rig.yaml", "--out", "out", "--input", name)
    refuse(c, 2, "cannot be read", "rig.yaml", "--out", "out", "--input", "nowhere.wav")
    refuse(c, 2, "is a folder", "rig.yaml", "--out", "out", "--input", ".")
    refuse(c, 2, "more than once", "rig.yaml", "--out", "out", "--input", "/dev/zero")
    refuse(c, 2, "--out DIR", "rig.yaml")
    refuse(c, 2, "--input", "rig.yaml", "--out", "out", "--recorded-through", "rig.yaml")
    refuse(c, 2, "--recorded-through", "rig.yaml", "--out", "out", "--max-gain", "10")
    refuse(c, 2, "0 to 60", "rig.yaml", "--out", "out", "--input", "good.wav", "--max-gain", "61")
    refuse(c, 2, "chain[7]", "rig.yaml", "--out", "out", "--vary", "chain[7].length=1 m,2 m")
    refuse(c, 2, "nowhere.yaml", "rig.yaml", "--out", "out", "--input", "good.wav", "--recorded-through", "nowhere.yaml")
    refuse(c, 2, "several amps", "rig.yaml", "--out", "out", "--input", "good.wav", "--recorded-through",
           str(RIGS / "two-amps.yaml"))
    lengths = ",".join(f"{i + 1} m" for i in range(100))
    refuse(c, 2, "at most", "rig.yaml", "--out", "out", "--vary", "chain[0].length=" + lengths)
    refuse(c, 1, "cannot be made", "rig.yaml", "--out", "no/such/place")
    refuse(c, 1, "is no folder", "rig.yaml", "--out", "good.wav")
    refuse(c, 1, "cannot be made", "rig.yaml", "--out", "good.wav/out")
    refuse(c, 1, "cannot be", "rig.yaml", "--out", "/proc/self")


def refuse(c, status, words, *arguments):
    """An error that says so and leaves nothing behind."""
    before = c.left()
    done = c.run("listen", *arguments)
    c.check(done.returncode == status and words.encode() in done.stderr and not done.stdout,
            arguments, "expected", status, words, "got", done.returncode, done.stderr)
    c.check(c.left() == before, arguments, "left", set(c.left()) - set(before))


def check_whole_or_not(c, l):
    c.group("whole or not at all")
    c.write("rig.yaml", cases.RIG)
    l.run("rig.yaml")
    before = c.read("out/rig.wav")
    x = 0.1 * np.ones((400000, 2))
    c.write("long.wav", wav(x, 44100, "16"))
    # A disk that is full after 2 MB, as the largest size of a file stands in for.
    done = c.run("listen", "rig.yaml", "--out", "out", "--input", "long.wav",
                 preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (2000000, 2000000)))
    c.check(done.returncode == 1 and b"cannot be written" in done.stderr, "full disk", done.returncode, done.stderr)
    c.check(c.read("out/rig.wav") == before, "an earlier file was touched")
    c.check(sorted(os.listdir(c.path("out"))) == ["direct.wav", "rig.wav"], "left", os.listdir(c.path("out")))
    c.check(c.run("listen", "rig.yaml", "--out", "new", "--input", "long.wav",
                  preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (2000000, 2000000))).returncode == 1,
            "full disk")
    c.check(not os.path.exists(c.path("new")), "a folder was left")
    # The recording is in the way of the answer.
    c.write("out/rig.wav", wav(x, 44100, "16"))
    own = c.read("out/rig.wav")
    refuse(c, 2, "is the recording itself", "rig.yaml", "--out", "out", "--input", "out/rig.wav")
    c.check(c.read("out/rig.wav") == own, "the recording was touched")
    check_killed(c)


def check_killed(c):
    """Nothing is left of a run that was killed, where the file system has files without names."""
    try:
        os.close(os.open(c.here, os.O_TMPFILE | os.O_RDWR))
    except OSError:
        print("  (no files without names here: a killed run may leave its drafts)")
        return
    c.write("long.wav", wav(np.zeros((8000000, 2)), 44100, "16"))
    os.mkdir(c.path("killed"))
    process = subprocess.Popen([c.toneload, "listen", "rig.yaml", "--out", "killed", "--input", "long.wav"],
                               cwd=c.here, env=c.environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    deadline = time.monotonic() + 30
    while time.monotonic() < deadline and not any_deleted(process.pid):
        time.sleep(0.005)
    process.send_signal(signal.SIGKILL)
    c.check(process.wait() == -signal.SIGKILL, "it was over before it could be killed")
    c.check(os.listdir(c.path("killed")) == [], "left", os.listdir(c.path("killed")))
    c.is_tidy()


def any_deleted(pid):
    """Whether a process holds a file without a name that has grown."""
    folder = f"/proc/{pid}/fd"
    try:
        return any("deleted" in os.readlink(f"{folder}/{fd}") and os.stat(f"{folder}/{fd}").st_size > 100000
                   for fd in os.listdir(folder))
    except OSError:
        return False


def check_hostile(c, l):
    c.group("hostile names")
    nasty = "`touch ran`; $(touch ran) '\"| ../../up"
    c.write("rig.yaml", cases.RIG.replace("rig: plain", "rig: " + json.dumps(nasty)))
    out = "o`touch ran`'\"; $(touch ran)\x1b[31m\n|x"
    recording = "|touch ran\x1b[2J\n.wav"
    c.write(recording, wav(0.1 * np.ones(1000), 44100, "16"))
    for words in ([], ["--json"]):
        done = c.run("listen", "rig.yaml", "--out", out, "--input", recording, "--vary", "chain[0].length=1 m,2 m", *words)
        c.check(done.returncode == 0, done.stderr)
        c.check(b"\x1b" not in done.stdout and b"\x07" not in done.stdout, "control characters", done.stdout)
    c.check(sorted(os.listdir(c.path(out))) == ["direct.wav", "rig.wav", "variant-01.wav", "variant-02.wav"],
            os.listdir(c.path(out)))
    c.check(not any(name.endswith(b"ran") for name in c.left()), "something ran", c.left())
    done = c.run("listen", "rig.yaml", "--out", "out", "--input", "no\x1b[31msuch")
    c.check(done.returncode == 2 and b"\x1b" not in done.stderr, done.stderr)


def peak_memory_kb(c, *words):
    """The kernel's own high-water mark, looked at until the end. (What wait4() tells counts this
    program's memory too, from before the other took its place.)"""
    process = subprocess.Popen([c.toneload, *words], cwd=c.here, env=c.environment, stdout=subprocess.DEVNULL)
    peak = 0
    while process.poll() is None:
        try:
            status = pathlib.Path(f"/proc/{process.pid}/status").read_text()
            peak = max([peak, *(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmHWM"))])
        except OSError:
            pass
        time.sleep(0.002)
    c.check(process.returncode == 0 and peak > 0, words, "ended with", process.returncode)
    return peak


def check_memory(c, l):
    """Four times the sound takes no more memory: what an hour takes, a minute shows. scripts/bench
    has the hour."""
    c.group("memory")
    c.write("rig.yaml", cases.RIG)
    used = []
    for seconds in (60, 240):
        c.write("long.wav", wav(np.zeros((44100 * seconds, 2)), 44100, "16"))
        used.append(peak_memory_kb(c, "listen", "rig.yaml", "--out", "out", "--input", "long.wav"))
    c.check(used[1] - used[0] < 4000 and used[1] < 200000, "memory of 1 and 4 minutes, kB", used)
    print(f"  1 minute {used[0] / 1024:.0f} MB, 4 minutes {used[1] / 1024:.0f} MB")


def run(c):
    l = Listen(c)
    for check in (check_impulses, check_sines, check_strings, check_peaks, check_levels, check_formats, check_through,
                  check_coupled, check_bad_input, check_whole_or_not, check_hostile, check_memory):
        c.clear()
        check(c, l)


if __name__ == "__main__":
    cases.main(run)

# SPDX-License-Identifier: GPL-3.0-or-later
"""What the checks of shards share: a shard's file taken apart, changed, and put together with sums
that agree. The format stands at the top of src/study/spread_shard.c."""
import os
import re
import struct
import zlib

SOURCE = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
FIGURES, CURVES, POINTS = 10, 2, 91


def rig_text(name):
    """A demo rig."""
    with open(os.path.join(SOURCE, "models", "rigs", name), encoding="utf-8") as file:
        return file.read()


def how_to():
    """README's commands for many machines, line by line, and its script for an array of tasks."""
    with open(os.path.join(SOURCE, "README.md"), encoding="utf-8") as file:
        section = file.read().split("\n## On many machines\n")[1].split("\n## ")[0]
    script = re.search(r"^```bash\n(.*?)^```$", section, re.M | re.S).group(1)
    return re.findall(r"^    (toneload .*|parallel .*)$", section, re.M), script


def summed(section):
    return section + struct.pack("<I", zlib.crc32(section))


class Part:
    """A shard's file. `head` and `place` may be changed; bytes() mends their sums."""

    def __init__(self, data):
        self.mark, self.format, size = struct.unpack_from("<8sIQ", data)
        self.head = bytearray(data[20:20 + size])
        at = 20 + size + 4
        self.place = list(struct.unpack_from("<QQQI", data, at))  # shard, shards, done, identity
        self.rest = data[at + 28 + 4:]

    def bytes(self):
        return (self.mark + struct.pack("<I", self.format) +
                summed(struct.pack("<Q", len(self.head)) + self.head) +
                summed(struct.pack("<QQQI", *self.place)) + self.rest)

    def words_at(self, at):
        size = struct.unpack_from("<I", self.head, at)[0]
        return bytes(self.head[at + 4:at + 4 + size]), at + 4 + size

    def put_words(self, at, words):
        end = self.words_at(at)[1]
        self.head[at:end] = struct.pack("<I", len(words)) + words

    def numbers_at(self):
        """Where the numbers after version and title begin: trials, seed, reference, .."""
        return self.words_at(self.words_at(0)[1])[1]

    def set_trials(self, count):
        struct.pack_into("<Q", self.head, self.numbers_at(), count)

    def amps_at(self):
        return self.numbers_at() + 8 + 8 + 8 + 4 + 4 + 4 + 8

    def all_words(self):
        """Where each of the head's words begins, from the last to the first."""
        found = [0, self.words_at(0)[1]]
        at = self.amps_at()
        amps = struct.unpack_from("<Q", self.head, at)[0]
        at += 8
        for _ in range(amps):
            found.append(at)
            at = self.words_at(at)[1]
        values = struct.unpack_from("<Q", self.head, at)[0]
        at += 8
        for _ in range(values):
            for _ in range(5):
                found.append(at)
                at = self.words_at(at)[1]
            at += 8 + 8 + 4
        return found[::-1]

    def values_at(self):
        """Where the count of values stands."""
        at = self.amps_at()
        amps = struct.unpack_from("<Q", self.head, at)[0]
        at += 8
        for _ in range(amps):
            at = self.words_at(at)[1]
        return at

"""Readers of media files from their published forms: RIFF/WAVE with cue markers, WebVTT, SubRip, PNG. Own code, on purpose."""

import re
import struct
import zlib

import numpy as np

# W3C WebVTT 1: hours of two digits or more may be left away; SubRip: always there, with a comma (reference/13_*).
VTT_TIME = re.compile(r"(?:(\d{2,}):)?([0-5]\d):([0-5]\d)\.(\d{3})")
SRT_TIME = re.compile(r"(\d{2,}):([0-5]\d):([0-5]\d),(\d{3})")


class Bad(Exception):
    """What is not as its form wants it."""


def must(holds, otherwise):
    if not holds:
        raise Bad(otherwise)


def time_s(text, pattern):
    found = pattern.fullmatch(text)
    must(found, f"{text!r} is no time")
    hours, minutes, seconds, ms = (int(part or 0) for part in found.groups())
    return hours * 3600 + minutes * 60 + seconds + ms / 1000


def webvtt(text):
    """Cues as (from s, to s, text). A file of cues without settings, as much of the grammar as is used."""
    must(not text.startswith("\ufeff") and "\r" not in text, "begins with a mark or has other line ends")
    blocks = text.rstrip("\n").split("\n\n")
    must(blocks[0] == "WEBVTT", "does not begin with WEBVTT and an empty line")
    return [cue(block.split("\n"), VTT_TIME) for block in blocks[1:]]


def subrip(text):
    """Cues as (from s, to s, text), numbered from 1."""
    blocks = text.rstrip("\n").split("\n\n")
    for number, block in enumerate(blocks, 1):
        must(block.split("\n")[0] == str(number), f"cue {number} has another number")
    return [cue(block.split("\n")[1:], SRT_TIME) for block in blocks]


def cue(lines, pattern):
    times = lines[0].split(" --> ")
    must(len(times) == 2 and len(lines) > 1 and all(lines), f"{lines!r} is no cue")
    begin, end = (time_s(t, pattern) for t in times)
    must(begin < end, f"{lines[0]}: ends before it begins")
    words = "\n".join(lines[1:])
    must("-->" not in words, "an arrow in a text")
    if pattern is VTT_TIME:
        must(not re.search(r"<|&(?!amp;|lt;|gt;)", words), f"{words!r} holds markup")
        words = words.replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&")
    return begin, end, words


def riff(data):
    """Chunks of a RIFF/WAVE file, by name, in order."""
    must(data[:4] == b"RIFF" and data[8:12] == b"WAVE", "is no RIFF/WAVE file")
    must(struct.unpack("<I", data[4:8])[0] == len(data) - 8, "says another size")
    chunks, at = [], 12
    while at < len(data):
        name, size = data[at : at + 4], struct.unpack("<I", data[at + 4 : at + 8])[0]
        must(at + 8 + size <= len(data), f"chunk {name} reaches beyond the end")
        chunks.append((name, data[at + 8 : at + 8 + size]))
        at += 8 + size + size % 2
    must(at == len(data), "ends within a chunk")
    return chunks


class Wave:
    """A WAVE file of 24-bit integers with its cue markers."""

    def __init__(self, data):
        chunks = riff(data)
        self.names = [name for name, _ in chunks]
        body = dict(chunks)
        tag, n_channels, self.rate_hz, n_bytes, align, bits = struct.unpack("<HHIIHH", body[b"fmt "][:16])
        must((tag, n_channels, bits, align) == (1, 1, 24, 3), "is not one channel of 24-bit integers")
        must(n_bytes == self.rate_hz * align, "says another rate of bytes")
        raw = np.frombuffer(body[b"data"], np.uint8).reshape(-1, 3).astype(np.int32)
        whole = raw[:, 0] | raw[:, 1] << 8 | raw[:, 2] << 16
        self.integers = np.where(whole >= 1 << 23, whole - (1 << 24), whole)
        self.samples = self.integers / (1 << 23)
        self.cues = cues(body[b"cue "], body[b"LIST"]) if b"cue " in body else []


def cues(points, labels):
    """(frame, label) in order of the points."""
    n = struct.unpack("<I", points[:4])[0]
    must(len(points) == 4 + 24 * n, "the cue chunk has another length than it says")
    must(labels[:4] == b"adtl", "the list of labels is of another kind")
    named, at = {}, 4
    while at < len(labels):
        kind, size = labels[at : at + 4], struct.unpack("<I", labels[at + 4 : at + 8])[0]
        body = labels[at + 8 : at + 8 + size]
        must(kind == b"labl" and body[-1:] == b"\0", "a label does not end with zero")
        named[struct.unpack("<I", body[:4])[0]] = body[4:-1].decode("utf-8")
        at += 8 + size + size % 2
    out = []
    for i in range(n):
        point, place, chunk, start, block, frame = struct.unpack("<II4sIII", points[4 + 24 * i : 28 + 24 * i])
        must(chunk == b"data" and start == block == 0 and place == frame, "a cue point is not of the data chunk")
        out.append((frame, named.pop(point)))
    must(not named, "a label without its point")
    return out


def png(data, unpack=True):
    """Pixels of an 8-bit PNG without interlacing: rows × columns × 3 or 4 (PNG specification, W3C, third edition).

    Without `unpack` only chunks, sums and size are looked at, and the filtered bytes are given back in that shape.
    """
    must(data[:8] == b"\x89PNG\r\n\x1a\n", "is no PNG")
    chunks, at = [], 8
    while at < len(data):
        size, kind = struct.unpack(">I", data[at : at + 4])[0], data[at + 4 : at + 8]
        body = data[at + 8 : at + 8 + size]
        must(zlib.crc32(kind + body) == struct.unpack(">I", data[at + 8 + size : at + 12 + size])[0], f"{kind}: wrong sum")
        chunks.append((kind, body))
        at += 12 + size
    must(chunks[0][0] == b"IHDR" and chunks[-1] == (b"IEND", b"") and at == len(data), "chunks out of order")
    width, height, depth, colour, method, filters, interlace = struct.unpack(">IIBBBBB", chunks[0][1])
    must((depth, method, filters, interlace) == (8, 0, 0, 0) and colour in (2, 6), "is of another kind")
    n = 3 if colour == 2 else 4
    rows = np.frombuffer(zlib.decompress(b"".join(b for k, b in chunks if k == b"IDAT")), np.uint8)
    must(rows.size == height * (1 + n * width), "has more or fewer pixels than it says")
    rows = rows.reshape(height, 1 + n * width)
    must(rows[:, 0].max() <= 4, "a filter that there is not")
    if not unpack:
        return rows[:, 1:].reshape(height, width, n)
    out, above = np.empty((height, width * n), np.uint8), np.zeros(width * n, np.uint8)
    for y in range(height):
        above = out[y] = unfiltered(rows[y, 0], rows[y, 1:], above, n)
    return out.reshape(height, width, n)


def unfiltered(kind, row, above, n):
    if kind == 0:
        return row
    if kind == 2:
        return row + above
    if kind == 1:
        return np.cumsum(row.reshape(-1, n), axis=0, dtype=np.uint8).reshape(-1)
    left, up, out = [0] * n, above.tolist(), []
    corner = [0] * n
    for i, x in enumerate(row.tolist()):
        a, b, c = left[i % n], up[i], corner[i % n]
        if kind == 3:
            add = (a + b) // 2
        else:
            p = a + b - c
            pa, pb, pc = abs(p - a), abs(p - b), abs(p - c)
            add = a if pa <= pb and pa <= pc else b if pb <= pc else c
        left[i % n], corner[i % n] = (x + add) % 256, b
        out.append(left[i % n])
    return np.array(out, np.uint8)

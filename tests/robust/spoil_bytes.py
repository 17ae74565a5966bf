"""Damage to a file's bytes, as bad disks, broken transfers and wrong names leave it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

Rng = np.random.Generator
MAGICS = (
    b"II*\x00", b"MM\x00*", b"II+\x00", b"SQLite format 3\x00", b"\x00\x00\x27\x0a",
    b"fgb\x03fgb\x00", b"PK\x03\x04", b"\x89PNG\r\n\x1a\n", b"EHFA_HEADER_TAG", b"<VRTDataset>",
    b'{"type":', b"ncols 4\n", b"\x1f\x8b\x08", b"%PDF-1.7", b"\x7fELF", b"\xff\xd8\xff\xe0",
)  # fmt: skip


def cut(data: bytearray, rng: Rng) -> bytearray:
    """Keep a beginning."""
    return data[: int(rng.integers(0, max(1, len(data))))]


def cut_a_little(data: bytearray, rng: Rng) -> bytearray:
    """Lose the last bytes."""
    return data[: max(0, len(data) - int(rng.integers(1, 200)))]


def flip(data: bytearray, rng: Rng) -> bytearray:
    """Turn single bits over, anywhere."""
    for at in rng.integers(0, len(data), int(rng.integers(1, 40))):
        data[at] ^= 1 << int(rng.integers(0, 8))
    return data


def flip_head(data: bytearray, rng: Rng) -> bytearray:
    """Turn bits over where the file describes itself."""
    for at in rng.integers(0, min(len(data), 600), int(rng.integers(1, 8))):
        data[at] ^= 1 << int(rng.integers(0, 8))
    return data


def blank(data: bytearray, rng: Rng) -> bytearray:
    """Put zeros in a stretch, as a lost disk block does."""
    at, size = int(rng.integers(0, len(data))), int(rng.integers(1, 5000))
    data[at : at + size] = bytes(min(size, len(data) - at))
    return data


def noise(data: bytearray, rng: Rng) -> bytearray:
    """Put chance bytes in a stretch."""
    at, size = int(rng.integers(0, len(data))), int(rng.integers(1, 500))
    size = min(size, len(data) - at)
    data[at : at + size] = rng.bytes(size)
    return data


def big_number(data: bytearray, rng: Rng) -> bytearray:
    """Put the numbers that counters and sizes break at into a place in the head."""
    value = rng.choice([0, 1, 0x7FFFFFFF, 0xFFFFFFFF, 0x80000000, 0xFFFF, 0x10000])
    at = int(rng.integers(0, max(1, min(len(data), 1200) - 4)))
    data[at : at + 4] = int(value).to_bytes(4, "little" if rng.random() < 0.5 else "big")
    return data


def wrong_magic(data: bytearray, rng: Rng) -> bytearray:
    """Begin like a file of another kind."""
    magic = MAGICS[int(rng.integers(0, len(MAGICS)))]
    data[: len(magic)] = magic
    return data


def drop(data: bytearray, rng: Rng) -> bytearray:
    """Lose a stretch in the middle."""
    at, size = int(rng.integers(0, len(data))), int(rng.integers(1, 3000))
    del data[at : at + size]
    return data


def repeat(data: bytearray, rng: Rng) -> bytearray:
    """Have a stretch twice."""
    at, size = int(rng.integers(0, len(data))), int(rng.integers(1, 3000))
    data[at:at] = data[at : at + size]
    return data


def tail(data: bytearray, rng: Rng) -> bytearray:
    """Have something after the end."""
    return data + rng.bytes(int(rng.integers(1, 2000)))


def only_noise(data: bytearray, rng: Rng) -> bytearray:
    """Hold nothing but chance bytes."""
    return bytearray(rng.bytes(int(rng.integers(0, len(data)))))


SPOILERS: tuple[Callable[[bytearray, Rng], bytearray], ...] = (
    cut, cut_a_little, flip, flip, flip_head, flip_head, blank, noise, big_number, big_number,
    wrong_magic, drop, repeat, tail, only_noise,
)  # fmt: skip


def spoil(data: bytes, rng: Rng) -> tuple[bytes, str]:
    """Return damaged bytes and what was done to them."""
    how = SPOILERS[int(rng.integers(0, len(SPOILERS)))]
    return bytes(how(bytearray(data or b"\0"), rng)), how.__name__

"""A QR code read back from its modules, written from ISO/IEC 18004 alone: what a camera would make of it.

Level M and versions 1 to 16 are enough here. Every block has to be a code word of its Reed-Solomon code, so that a single
module the wrong way round is noticed.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

Matrix = list[list[int]]

CORRECTION = {1: 10, 2: 16, 3: 26, 4: 18, 5: 24, 6: 16, 7: 18, 8: 22, 9: 22, 10: 26, 11: 30, 12: 22, 13: 22, 14: 24,
              15: 24, 16: 28}  # fmt: skip
"""Version -> correction words of each block at level M (table 9)."""
BLOCKS = {1: [16], 2: [28], 3: [44], 4: [32] * 2, 5: [43] * 2, 6: [27] * 4, 7: [31] * 4, 8: [38] * 2 + [39] * 2,
          9: [36] * 3 + [37] * 2, 10: [43] * 4 + [44], 11: [50] + [51] * 4, 12: [36] * 6 + [37] * 2,
          13: [37] * 8 + [38], 14: [40] * 4 + [41] * 5, 15: [41] * 5 + [42] * 5, 16: [45] * 7 + [46] * 3}  # fmt: skip
"""Version -> data words of each block at level M (table 9)."""
CENTRES = {1: [], 2: [6, 18], 3: [6, 22], 4: [6, 26], 5: [6, 30], 6: [6, 34], 7: [6, 22, 38], 8: [6, 24, 42],
           9: [6, 26, 46], 10: [6, 28, 50], 11: [6, 30, 54], 12: [6, 32, 58], 13: [6, 34, 62], 14: [6, 26, 46, 66],
           15: [6, 26, 48, 70], 16: [6, 26, 50, 74]}  # fmt: skip
"""Version -> centres of alignment patterns (table E.1)."""
MASKS = (
    lambda r, c: (r + c) % 2,
    lambda r, c: r % 2,
    lambda r, c: c % 3,
    lambda r, c: (r + c) % 3,
    lambda r, c: (r // 2 + c // 3) % 2,
    lambda r, c: r * c % 2 + r * c % 3,
    lambda r, c: (r * c % 2 + r * c % 3) % 2,
    lambda r, c: ((r + c) % 2 + r * c % 3) % 2,
)  # table 10


def modules(svg: str) -> Matrix:
    """The dark modules of an SVG whose path is made of rectangles ``M x y h w v 1 h -w z``, quiet zone of four taken off."""
    size = int(re.search(r'viewBox="0 0 (\d+) \1"', svg)[1])  # type: ignore[index]
    grid = [[0] * size for _ in range(size)]
    for x, y, width in re.findall(r"M(\d+) (\d+)h(\d+)v1h-\3z", svg):
        for column in range(int(x), int(x) + int(width)):
            grid[int(y)][column] = 1
    edge = [row for k, row in enumerate(grid) if k < 4 or k >= size - 4] + [row[:4] + row[-4:] for row in grid]
    assert not any(map(any, edge)), "the quiet zone is empty"
    return [row[4:-4] for row in grid[4:-4]]


def text_of(grid: Matrix) -> str:
    """The words in it. Raises ``ValueError`` where it is no such code, or damaged."""
    size = len(grid)
    version = (size - 17) // 4
    level_and_mask = _format(grid)
    if level_and_mask >> 3 != 0b00:
        raise ValueError("not level M")
    mask = MASKS[level_and_mask & 7]
    bits = [grid[r][c] ^ (mask(r, c) == 0) for r, c in _path(size, version)]
    words = [int("".join(map(str, map(int, bits[k : k + 8]))), 2) for k in range(0, len(bits) - 7, 8)]
    data = _data(words, version)
    return _bytes(data, version).decode("utf-8")


def _format(grid: Matrix) -> int:
    """Five bits out of fifteen, which are a BCH code word under a fixed mask (annex C)."""
    places = [*((8, c) for c in (0, 1, 2, 3, 4, 5, 7, 8)), *((r, 8) for r in (7, 5, 4, 3, 2, 1, 0))]
    bits = int("".join(str(grid[r][c]) for r, c in places), 2) ^ 0b101010000010010
    rest = bits
    for shift in range(4, -1, -1):
        if rest >> (shift + 10) & 1:
            rest ^= 0b10100110111 << shift
    if rest:
        raise ValueError("damaged format")
    return bits >> 10


def _path(size: int, version: int) -> Iterator[tuple[int, int]]:
    """Data modules in their order: two columns at a time from the right, up and down by turns (7.7.3)."""
    kept = _function(size, version)
    upwards, right = True, size - 1
    while right > 0:
        if right == 6:
            right -= 1
        for step in range(size):
            row = size - 1 - step if upwards else step
            for column in (right, right - 1):
                if (row, column) not in kept:
                    yield row, column
        upwards, right = not upwards, right - 2


def _function(size: int, version: int) -> set[tuple[int, int]]:
    found = {(6, k) for k in range(size)} | {(k, 6) for k in range(size)}
    found |= {(r, c) for r in range(9) for c in range(9)}
    found |= {(r, c) for r in range(9) for c in range(size - 8, size)}
    found |= {(c, r) for r in range(9) for c in range(size - 8, size)}
    centres = CENTRES[version]
    for r in centres:
        for c in centres:
            if (r, c) not in ((6, 6), (6, size - 7), (size - 7, 6)):
                found |= {(r + i, c + j) for i in range(-2, 3) for j in range(-2, 3)}
    if version >= 7:
        found |= {(r, c) for r in range(6) for c in range(size - 11, size - 8)}
        found |= {(c, r) for r in range(6) for c in range(size - 11, size - 8)}
    return found


def _data(words: list[int], version: int) -> list[int]:
    """Data words of all blocks, each of which is checked (7.6)."""
    lengths, correction = BLOCKS[version], CORRECTION[version]
    blocks: list[list[int]] = [[] for _ in lengths]
    stream = iter(words)
    for k in range(max(lengths)):
        for block, length in zip(blocks, lengths, strict=True):
            if k < length:
                block.append(next(stream))
    ends: list[list[int]] = [[] for _ in lengths]
    for _ in range(correction):
        for end in ends:
            end.append(next(stream))
    for block, end in zip(blocks, ends, strict=True):
        if any(_syndromes(block + end, correction)):
            raise ValueError("damaged data")
    return [word for block in blocks for word in block]


def _syndromes(word: list[int], count: int) -> Iterator[int]:
    """The block as a polynomial over GF(2^8), at the first ``count`` powers of the generator: nothing in a sound one."""
    for power in range(count):
        point, total = 1, 0
        for _ in range(power):
            point = _times(point, 2)
        for value in word:
            total = _times(total, point) ^ value
        yield total


def _times(a: int, b: int) -> int:
    product = 0
    while b:
        if b & 1:
            product ^= a
        a, b = a << 1, b >> 1
        if a & 0x100:
            a ^= 0x11D
    return product


def _bytes(data: list[int], version: int) -> bytes:
    bits = "".join(f"{word:08b}" for word in data)
    if bits[:4] != "0100":
        raise ValueError("not in byte mode")
    wide = 8 if version < 10 else 16
    length, start = int(bits[4 : 4 + wide], 2), 4 + wide
    return bytes(int(bits[k : k + 8], 2) for k in range(start, start + 8 * length, 8))

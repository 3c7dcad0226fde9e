"""A reader of QR codes for the tests, written after ISO/IEC 18004 and not after the library that draws them.

Reads an upright, undamaged symbol of versions 1 to 10 from a picture; the Reed-Solomon syndromes of every block must
be zero, so a module drawn wrong is found and not put right. Tables from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

# Level → version → (error correction codewords per block, data codewords of each block): table 9 of the standard.
BLOCKS = {
    "L": {
        1: (7, [19]), 2: (10, [34]), 3: (15, [55]), 4: (20, [80]), 5: (26, [108]), 6: (18, [68] * 2),
        7: (20, [78] * 2), 8: (24, [97] * 2), 9: (30, [116] * 2), 10: (18, [68] * 2 + [69] * 2),
    },
    "M": {
        1: (10, [16]), 2: (16, [28]), 3: (26, [44]), 4: (18, [32] * 2), 5: (24, [43] * 2), 6: (16, [27] * 4),
        7: (18, [31] * 4), 8: (22, [38] * 2 + [39] * 2), 9: (22, [36] * 3 + [37] * 2), 10: (26, [43] * 4 + [44]),
    },
    "Q": {
        1: (13, [13]), 2: (22, [22]), 3: (18, [17] * 2), 4: (26, [24] * 2), 5: (18, [15] * 2 + [16] * 2),
        6: (24, [19] * 4), 7: (18, [14] * 2 + [15] * 4), 8: (22, [18] * 4 + [19] * 2),
        9: (20, [16] * 4 + [17] * 4), 10: (24, [19] * 6 + [20] * 2),
    },
    "H": {
        1: (17, [9]), 2: (28, [16]), 3: (22, [13] * 2), 4: (16, [9] * 4), 5: (22, [11] * 2 + [12] * 2),
        6: (28, [15] * 4), 7: (26, [13] * 4 + [14]), 8: (26, [14] * 4 + [15] * 2), 9: (24, [12] * 4 + [13] * 4),
        10: (28, [15] * 6 + [16] * 2),
    },
}  # fmt: skip
ALIGNMENT = {
    1: [], 2: [6, 18], 3: [6, 22], 4: [6, 26], 5: [6, 30], 6: [6, 34],
    7: [6, 22, 38], 8: [6, 24, 42], 9: [6, 26, 46], 10: [6, 28, 50],
}  # fmt: skip
LEVELS = {0b01: "L", 0b00: "M", 0b11: "Q", 0b10: "H"}
MASKS = [
    lambda i, j: (i + j) % 2 == 0,
    lambda i, j: i % 2 == 0,
    lambda i, j: j % 3 == 0,
    lambda i, j: (i + j) % 3 == 0,
    lambda i, j: (i // 2 + j // 3) % 2 == 0,
    lambda i, j: i * j % 2 + i * j % 3 == 0,
    lambda i, j: (i * j % 2 + i * j % 3) % 2 == 0,
    lambda i, j: ((i + j) % 2 + i * j % 3) % 2 == 0,
]


@dataclass
class Read:
    """What was read, and of the symbol: its version, level, modules to a side, and its quiet zone in modules."""

    text: str
    version: int
    level: str
    modules: int
    quiet: float
    share: float  # of the picture's side that the symbol takes


def read(picture) -> Read:
    """The one symbol in a picture (PIL) that holds it with its quiet zone and nothing else."""
    grey = picture.convert("L")
    box = grey.point(lambda dot: 255 if dot < 128 else 0).getbbox()
    assert box, "there is no symbol in the picture"
    left, top, right, bottom = box
    dark = lambda x, y: grey.getpixel((min(int(x), grey.width - 1), min(int(y), grey.height - 1))) < 128  # noqa: E731
    run = left
    while dark(run, top + 1):
        run += 1
    count = round((right - left) / ((run - left) / 7))  # the finder's outer edge is seven modules long
    assert count % 4 == 1, f"{count} modules to a side"
    step = (right - left) / count
    grid = [
        [dark(left + (j + 0.5) * step, top + (i + 0.5) * (bottom - top) / count) for j in range(count)]
        for i in range(count)
    ]
    quiet = min(left, top, grey.width - right, grey.height - bottom) / step
    return Read(*_decoded(grid), quiet=quiet, share=(right - left) / grey.width)


def _decoded(grid: list[list[bool]]) -> tuple[str, int, str, int]:
    size = len(grid)
    version = (size - 17) // 4
    _finders(grid)
    level, mask = _format(grid)
    codewords = _codewords(grid, version, MASKS[mask])
    ecc, sizes = BLOCKS[level][version]
    assert sum(sizes) + ecc * len(sizes) == len(codewords), "codewords"
    blocks: list[list[int]] = [[] for _ in sizes]
    at = iter(codewords)
    for place in range(max(sizes)):
        for block, length in zip(blocks, sizes, strict=True):
            if place < length:
                block.append(next(at))
    for _ in range(ecc):
        for block in blocks:
            block.append(next(at))
    for block in blocks:
        assert not any(_syndromes(block, ecc)), "a block holds an error"
    data = [word for block, length in zip(blocks, sizes, strict=True) for word in block[:length]]
    return _text(data, version), version, level, size


def _finders(grid) -> None:
    size = len(grid)
    for top, left in ((0, 0), (0, size - 7), (size - 7, 0)):
        for i in range(7):
            for j in range(7):
                ring = max(abs(i - 3), abs(j - 3))
                assert grid[top + i][left + j] == (ring != 2), "a finder pattern is wrong"


def _format(grid) -> tuple[str, int]:
    """Level and mask from the fifteen bits beside the first finder: BCH (15, 5), masked with 101010000010010."""
    spots = [(8, j) for j in (0, 1, 2, 3, 4, 5, 7, 8)] + [(i, 8) for i in (7, 5, 4, 3, 2, 1, 0)]
    bits = 0
    for i, j in spots:
        bits = bits << 1 | grid[i][j]
    bits ^= 0b101010000010010
    rest = bits
    for shift in range(14, 9, -1):
        if rest >> shift & 1:
            rest ^= 0b10100110111 << (shift - 10)
    assert rest == 0, "the format bits hold an error"
    return LEVELS[bits >> 13], bits >> 10 & 0b111


def _is_function(i: int, j: int, size: int, version: int) -> bool:
    if (i < 9 and j < 9) or (i < 9 and j >= size - 8) or (i >= size - 8 and j < 9) or 6 in (i, j):
        return True
    if version >= 7 and ((i < 6 and j >= size - 11) or (j < 6 and i >= size - 11)):
        return True
    places = ALIGNMENT[version]
    for row in places:
        for column in places:
            if (row, column) in ((6, 6), (6, places[-1]), (places[-1], 6)):
                continue
            if abs(i - row) <= 2 and abs(j - column) <= 2:
                return True
    return False


def _codewords(grid, version: int, mask) -> list[int]:
    """In pairs of columns from the right, upwards and downwards by turns, without the timing column."""
    size, bits = len(grid), []
    columns = [*range(size - 1, 6, -2), 5, 3, 1]
    for turn, right in enumerate(columns):
        rows = range(size - 1, -1, -1) if turn % 2 == 0 else range(size)
        for i in rows:
            for j in (right, right - 1):
                if not _is_function(i, j, size, version):
                    bits.append(grid[i][j] != mask(i, j))
    return [
        int("".join("1" if bit else "0" for bit in bits[start : start + 8]), 2)
        for start in range(0, len(bits) - 7, 8)
    ]


EXP = [1]
for _ in range(254):
    EXP.append(EXP[-1] << 1 ^ (0b100011101 if EXP[-1] & 128 else 0))
LOG = {value: power for power, value in enumerate(EXP)}


def _syndromes(block: list[int], ecc: int) -> list[int]:
    """The block's polynomial at the first powers of 2 in GF(256): zero where nothing is wrong."""
    found = []
    for power in range(ecc):
        total = 0
        for word in block:
            total = (EXP[(LOG[total] + power) % 255] if total else 0) ^ word
        found.append(total)
    return found


def _text(data: list[int], version: int) -> str:
    """Segments in byte mode; ours hold an address and nothing else."""
    bits = "".join(f"{word:08b}" for word in data)
    assert bits[:4] == "0100", f"mode {bits[:4]} is not bytes"
    wide = 8 if version < 10 else 16
    length = int(bits[4 : 4 + wide], 2)
    start = 4 + wide
    said = bytes(int(bits[start + 8 * n : start + 8 * n + 8], 2) for n in range(length))
    return said.decode("utf-8")

"""Reads an undamaged QR code the way ISO/IEC 18004 says, from its squares to its text.

Nothing of the program is used: how many blocks a version has, and where its alignment patterns stand,
come from segno's tables. Errors are not corrected; a code on a screen or from a drawing has none.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from segno import consts

#: Conditions of the eight data masks for row i and column j (ISO/IEC 18004, 7.8.2, table 10).
MASKS = (
    lambda i, j: (i + j) % 2 == 0,
    lambda i, j: i % 2 == 0,
    lambda i, j: j % 3 == 0,
    lambda i, j: (i + j) % 3 == 0,
    lambda i, j: (i // 2 + j // 3) % 2 == 0,
    lambda i, j: (i * j) % 2 + (i * j) % 3 == 0,
    lambda i, j: ((i * j) % 2 + (i * j) % 3) % 2 == 0,
    lambda i, j: ((i + j) % 2 + (i * j) % 3) % 2 == 0,
)


def _carries_data(size: int, version: int) -> list[list[bool]]:
    """Squares left when finders, timing, alignment, format and version are taken out."""
    free = [[True] * size for _ in range(size)]

    def take(rows: range, columns: range) -> None:
        for i in rows:
            for j in columns:
                free[i][j] = False

    for rows, columns in ((0, 0), (0, size - 8), (size - 8, 0)):
        take(range(rows, rows + 8), range(columns, columns + 8))
    take(range(9), range(8, 9))  # format, along the finders
    take(range(8, 9), range(9))
    take(range(8, 9), range(size - 8, size))
    take(range(size - 8, size), range(8, 9))
    take(range(6, 7), range(size))
    take(range(size), range(6, 7))
    if version >= 7:
        take(range(6), range(size - 11, size - 8))
        take(range(size - 11, size - 8), range(6))
    centres = consts.ALIGNMENT_POS[version - 2] if version > 1 else ()
    corners = {(6, 6), (6, size - 7), (size - 7, 6)}
    for i in centres:
        for j in centres:
            if (i, j) not in corners:
                take(range(i - 2, i + 3), range(j - 2, j + 3))
    return free


def _way(size: int) -> Iterator[tuple[int, int]]:
    """Columns in pairs from the right, up and down in turn; the timing column is stepped over."""
    upward = True
    right = size - 1
    while right > 0:
        if right == 6:
            right -= 1
        for i in range(size - 1, -1, -1) if upward else range(size):
            yield i, right
            yield i, right - 1
        upward = not upward
        right -= 2


#: ISO/IEC 18004, table 5.
LETTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"


def read_code(squares: Sequence[Sequence[int]]) -> str:
    """Return the text a code of error correction level L holds in alphanumeric mode.

    Parameters
    ----------
    squares
        Rows of 0 and 1, without the light edge.
    """
    size = len(squares)
    version = (size - 17) // 4
    # format: five bits at the top left, turned by 10101…; two of level (01 is L), three of mask
    bits = [squares[8][j] for j in (0, 1, 2, 3, 4)]
    told = [bit ^ turn for bit, turn in zip(bits, (1, 0, 1, 0, 1), strict=True)]
    assert told[:2] == [0, 1], "not level L"
    mask = MASKS[told[2] * 4 + told[3] * 2 + told[4]]
    free = _carries_data(size, version)
    stream = [squares[i][j] ^ mask(i, j) for i, j in _way(size) if free[i][j]]
    words = [int("".join(map(str, map(int, stream[k : k + 8]))), 2) for k in range(0, len(stream) - 7, 8)]

    lengths = [b.num_data for b in consts.ECC[version][consts.ERROR_LEVEL_L] for _ in range(b.num_blocks)]
    blocks: list[list[int]] = [[] for _ in lengths]
    place = 0
    for k in range(max(lengths)):
        for block, length in zip(blocks, lengths, strict=True):
            if k < length:
                block.append(words[place])
                place += 1
    text = "".join(f"{word:08b}" for block in blocks for word in block)
    assert text[:4] == "0010", "not alphanumeric mode"
    counter = 9 if version < 10 else 11
    count = int(text[4 : 4 + counter], 2)
    body = text[4 + counter :]
    letters = ""
    while len(letters) < count:
        size = 11 if count - len(letters) > 1 else 6  # two letters as a number to the base 45, or one
        number, body = int(body[:size], 2), body[size:]
        letters += "".join(LETTERS[n] for n in (divmod(number, 45) if size == 11 else (number,)))
    return letters

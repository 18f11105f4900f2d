"""Whether SQLite's write-ahead log holds only what it would replay.

SQLite takes the first frame that fails its checksum for the end of the log. After a power cut that is right; after
damage it would forget committed tallies without a word, so the spool looks first and keeps a copy.
Layout: SQLite, "Database File Format", section 4 (The Write-Ahead Log).
"""

import struct

HEADER_BYTES = 32
FRAME_HEADER_BYTES = 24
MAGIC = 0x377F0682
# The magic's last bit says that checksums were built from big-endian words.
BIG_ENDIAN_BIT = 1
WORD_MASK = 0xFFFFFFFF
Sums = tuple[int, int]


def intact(log: bytes) -> bool:
    """Tell whether every byte of a write-ahead log belongs to a frame that passes its checksum.

    Parameters
    ----------
    log : bytes
        The whole ``-wal`` file; an empty one is intact.
    """
    if not log:
        return True
    if len(log) < HEADER_BYTES:
        return False
    magic, _, page_bytes, _, salt_1, salt_2, *sums = struct.unpack(">8I", log[:HEADER_BYTES])
    order = ">" if magic & BIG_ENDIAN_BIT else "<"
    if magic & ~BIG_ENDIAN_BIT != MAGIC or _summed(log[: HEADER_BYTES - 8], order, (0, 0)) != tuple(sums):
        return False
    return _frames_intact(log, page_bytes, (salt_1, salt_2), order, (sums[0], sums[1]))


def _frames_intact(log: bytes, page_bytes: int, salts: Sums, order: str, sums: Sums) -> bool:
    frame_bytes = FRAME_HEADER_BYTES + page_bytes
    if (len(log) - HEADER_BYTES) % frame_bytes:
        return False
    for start in range(HEADER_BYTES, len(log), frame_bytes):
        _, _, *rest = struct.unpack_from(">6I", log, start)
        page = log[start + FRAME_HEADER_BYTES : start + frame_bytes]
        sums = _summed(page, order, _summed(log[start : start + 8], order, sums))
        if rest != [*salts, *sums]:
            return False
    return True


def _summed(data: bytes, order: str, sums: Sums) -> Sums:
    first, second = sums
    words = struct.unpack(f"{order}{len(data) // 4}I", data)
    for even, odd in zip(words[::2], words[1::2], strict=True):
        first = (first + even + second) & WORD_MASK
        second = (second + odd + first) & WORD_MASK
    return first, second

"""The identity of a take's content, which stays when the file is moved or renamed.

Reading a whole card of clips to hash it would take longer than logging it. So the size and ten
pieces at fixed positions are hashed: at most 320 kB a file, whatever its size. Files of up to 320
kB are read whole. Two clips are told apart unless they have the same size and the same bytes in all
ten pieces, which for compressed picture and sound means the same recording.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from calltag.errors import MediaError, reason_of

PIECE_BYTES = 32_768
PIECES = 10


def digest(path: Path) -> str:
    """Identify the content of a file, reading at most 320 kB of it.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    str
        32 hexadecimal digits: BLAKE2b of the size and of ten pieces [1]_.

    Raises
    ------
    MediaError
        If the file cannot be read.

    References
    ----------
    .. [1] M.-J. Saarinen and J.-P. Aumasson, "The BLAKE2 Cryptographic Hash and Message
       Authentication Code (MAC)", RFC 7693, 2015.
    """
    try:
        size = path.stat().st_size
        hashed = hashlib.blake2b(digest_size=16, person=b"calltag take 1")
        hashed.update(size.to_bytes(8, "little"))
        with path.open("rb") as file:
            if size <= PIECE_BYTES * PIECES:
                hashed.update(file.read())
            else:
                for i in range(PIECES):
                    file.seek((size - PIECE_BYTES) * i // (PIECES - 1))
                    hashed.update(file.read(PIECE_BYTES))
    except OSError as error:
        reason = reason_of(error)
        raise MediaError(path, f"could not be read ({reason}); check the drive or card") from None
    return hashed.hexdigest()

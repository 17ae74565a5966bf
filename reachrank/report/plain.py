"""Make text from data safe to show: names in a layer can hold anything."""

from __future__ import annotations

import unicodedata

_TURNING = {*range(0x202A, 0x202F), *range(0x2066, 0x206A), 0x200E, 0x200F}
"""Signs that change the direction in which text is shown."""


def plain(text: object, most: int = 2000) -> str:
    r"""Return text without control signs, on one line, cut to ``most`` letters.

    >>> plain("Mill\x1b[31m Run\nfork")
    'Mill[31m Run fork'
    """
    letters = []
    for letter in str(text):
        if letter in "\n\r\t\u2028\u2029":
            letters.append(" ")
        elif unicodedata.category(letter) not in ("Cc", "Cs") and ord(letter) not in _TURNING:
            letters.append(letter)
    shown = "".join(letters)
    return shown if len(shown) <= most else shown[: most - 1] + "…"

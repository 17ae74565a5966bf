"""The kinds of work in plain words, as the end of a sentence about a repair."""

from __future__ import annotations

PATH_WORDS = {
    "hand_built": "can be built by hand",
    "design_first": "needs a design by a licensed engineer first",
    "leave_alone": "is best left alone",
    "visit_first": "cannot be told from here: visit first",
}

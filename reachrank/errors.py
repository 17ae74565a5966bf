"""One tree of errors: what is wrong, what to do about it, and where."""

from __future__ import annotations

CHANGED = "Was it changed by another program? Make it again."
"""Hint for a file of ours that holds what we never write."""


class ReachrankError(Exception):
    """Anything reachrank raises on purpose.

    Parameters
    ----------
    message
        One sentence: what is wrong, with the value that is wrong.
    hint
        One sentence: what to do about it.
    where
        The file, layer, feature or setting it is about.
    """

    exit_code = 70

    def __init__(self, message: str, *, hint: str = "", where: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint
        self.where = where

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        hint = f" {self.hint}" if self.hint else ""
        return f"{place}{self.message}{hint}"


class UsageError(ReachrankError):
    """The command or the call was put together wrongly."""

    exit_code = 2


class InputError(ReachrankError):
    """An input cannot be used at all; one bad feature is a finding instead."""

    exit_code = 3


class OutputError(ReachrankError):
    """The result could not be put where it was asked for; nothing was lost."""

    exit_code = 3


class SettingsError(ReachrankError):
    """One or more settings are unknown or out of their limits; all are listed."""

    exit_code = 4


class BugError(ReachrankError):
    """Our own mistake, caught before it reached a file: please report it."""

    exit_code = 70


class CancelledError(ReachrankError):
    """The user stopped the run; nothing was written."""

    exit_code = 130

"""Where compiled kernels are kept when neither the package nor the home folder can be written to.

numba keeps them beside the source or in the user's cache folder, and gives up where it may write to
neither: a package installed for all, run by a service without a home.
"""

from __future__ import annotations

import os
import stat
import sys
import tempfile
from pathlib import Path


def ensure_cache() -> None:
    """Point numba to a folder of our own where its usual ones cannot be written to."""
    if os.environ.get("NUMBA_CACHE_DIR") or _can_write(Path(__file__).parent) or _home_serves():
        return
    folder = _private_folder()
    os.environ["NUMBA_CACHE_DIR"] = folder
    if "numba" in sys.modules:
        sys.modules["numba"].config.CACHE_DIR = folder


def _can_write(folder: Path) -> bool:
    return folder.is_dir() and os.access(folder, os.W_OK)


def _home_serves() -> bool:
    """Tell whether the user's cache folder is there or can be made."""
    try:
        at = Path(os.environ.get("XDG_CACHE_HOME") or Path.home())
    except RuntimeError:  # no home at all
        return False
    while not at.exists() and at != at.parent:
        at = at.parent
    return _can_write(at)


def _private_folder() -> str:
    """Return a folder that only this user can write to: what is loaded from it is run."""
    if hasattr(os, "getuid"):
        folder = Path(tempfile.gettempdir()) / f"reachrank-kernels-{os.getuid()}"
        try:
            folder.mkdir(mode=0o700, exist_ok=True)
            told = folder.lstat()
            if (
                stat.S_ISDIR(told.st_mode)
                and told.st_uid == os.getuid()
                and not told.st_mode & 0o077
            ):
                return str(folder)
        except OSError:
            pass
    return tempfile.mkdtemp(prefix="reachrank-kernels-")

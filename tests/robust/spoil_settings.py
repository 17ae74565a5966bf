"""Settings at and beyond their limits, and settings files that are no settings."""

from __future__ import annotations

import dataclasses

import numpy as np

from reachrank.settings import Settings

Rng = np.random.Generator


def odd_value(field: dataclasses.Field[object], default: object, rng: Rng) -> str:
    """Return a value for ``--set``: a limit, something between, or something that cannot be."""
    told = field.metadata
    if rng.random() < 0.08:
        wrong = [
            "nan",
            "inf",
            "-1e308",
            '""',
            "[]",
            "{a=1}",
            "'x'",
            "1979-01-01",
            "true",
            "9" * 40,
            "=",
        ]
        return wrong[int(rng.integers(0, len(wrong)))]
    if told["choices"]:
        return str(rng.choice(list(told["choices"])))
    if isinstance(default, bool):
        return str(rng.random() < 0.5).lower()
    if isinstance(default, (int, float)):
        least, greatest = told["least"], told["greatest"]
        near = float(default) * 10 ** float(rng.uniform(-1.5, 1.5))
        ends = [v for v in (least, greatest, near, near) if v is not None]
        value = float(rng.choice(ends))
        value = min(
            max(value, -1e9 if least is None else least), 1e9 if greatest is None else greatest
        )
        return str(round(value)) if isinstance(default, int) else repr(value)
    return repr(str(default)) if isinstance(default, str) else "[[0.0, 0.0], [1.0, 1.0]]"


def settings(rng: Rng) -> list[str]:
    """Return one to four ``--set`` options."""
    groups = dataclasses.fields(Settings)
    sound = Settings()
    words = []
    for _ in range(int(rng.integers(1, 5))):
        group = groups[int(rng.integers(0, len(groups)))].name
        of = getattr(sound, group)
        fields = dataclasses.fields(of)
        field = fields[int(rng.integers(0, len(fields)))]
        value = odd_value(field, getattr(of, field.name), rng)
        words += ["--set", f"{group}.{field.name}={value}"]
    return words

"""The same ground written in other ways gives the same banks: types, directions, no-data, units."""

from __future__ import annotations

import numpy as np
import pyogrio
import pytest
from affine import Affine
from robust.judge import run, wrong_numbers
from robust.scenario import CELL, COLUMNS, NORTH, ROWS, WEST, heights, write_grid

FOOT_M, SURVEY_FOOT_M = 0.3048, 1200.0 / 3937.0  # both exact, U.S. Federal Register 1959
CENTIMETRE_M = 0.01


def banks(path):
    assert wrong_numbers(path) == []
    return pyogrio.read_dataframe(path, layer="banks").set_index("bank_id")


def ranked(sound, tmp_path, array, *more, **profile):
    dem = write_grid(tmp_path / "other.tif", array, **profile)
    out = tmp_path / "out.gpkg"
    code, _, err = run(sound.argv(out, *more, dem=str(dem)))
    assert code == 0, err
    return banks(out)


def alike(found, expected, within_m):
    sound = banks(expected)
    assert list(found.index) == list(sound.index)
    for name in ("bank_height_m", "length_m"):
        np.testing.assert_allclose(found[name], sound[name], rtol=0.0, atol=within_m, err_msg=name)


@pytest.mark.parametrize("kind", ["int16", "int64", "float64"])
def test_other_types_of_number(sound, expected, tmp_path, kind):
    """Whole centimetres: each cell is wrong by half of one at most, a height by one at most."""
    z = heights().astype(np.float64)
    if kind == "float64":
        found, within_m = ranked(sound, tmp_path, z), 1e-6
    else:
        cells = np.round(z / CENTIMETRE_M).astype(kind)
        found, within_m = ranked(sound, tmp_path, cells, scales=CENTIMETRE_M), 2 * CENTIMETRE_M
    heights_m = found["bank_height_m"]
    np.testing.assert_allclose(heights_m, banks(expected)["bank_height_m"], rtol=0, atol=within_m)


@pytest.mark.parametrize(
    ("turned", "transform"),
    [
        (lambda z: z[::-1], Affine(CELL, 0, WEST, 0, CELL, NORTH - ROWS * CELL)),
        (lambda z: z[:, ::-1], Affine(-CELL, 0, WEST + COLUMNS * CELL, 0, -CELL, NORTH)),
        (lambda z: z.T, Affine(0, CELL, WEST, -CELL, 0, NORTH)),
        (lambda z: z[::-1].T, Affine(0, CELL, WEST, CELL, 0, NORTH - ROWS * CELL)),
    ],
    ids=["south up", "mirrored", "columns first", "columns first, south up"],
)
def test_rows_and_columns_in_other_directions(sound, expected, tmp_path, turned, transform):
    """The same cells in the same places: nothing but the last digits may differ."""
    found = ranked(sound, tmp_path, np.ascontiguousarray(turned(heights())), transform=transform)
    alike(found, expected, 1e-4)


@pytest.mark.parametrize("value", [-9999.0, -3.4028234663852886e38])
@pytest.mark.parametrize("is_declared", [True, False])
def test_no_data_declared_or_not_is_never_ground(sound, expected, tmp_path, value, is_declared):
    """A frame of no-data cells around the ground; their value must pull no height along."""
    z = heights()
    z[:6], z[-6:], z[:, :3], z[:, -3:] = value, value, value, value
    more = {"nodata": value} if is_declared else {}
    found, sound_m = ranked(sound, tmp_path, z, **more), banks(expected)
    both = found.index.intersection(sound_m.index)
    assert len(both) >= 4
    np.testing.assert_allclose(
        found.loc[both, "bank_height_m"], sound_m.loc[both, "bank_height_m"], atol=0.1
    )


@pytest.mark.parametrize(
    ("word", "option", "foot_m"),
    [("ft", "", FOOT_M), ("", "us-ft", SURVEY_FOOT_M)],
)
def test_elevations_in_feet(sound, expected, tmp_path, word, option, foot_m):
    z = (heights().astype(np.float64) / foot_m).astype(np.float64)
    more = ["--dem-units", option] if option else []
    found = ranked(sound, tmp_path, z, *more, units=word)
    alike(found, expected, 1e-4)


def test_a_spike_is_no_bank(sound, expected, tmp_path):
    """A hundred cells of a million metres, far up and far down, are no ground and are told."""
    z = heights()
    rng = np.random.default_rng(5)
    rows, columns = rng.integers(0, ROWS, 100), rng.integers(0, COLUMNS, 100)
    z[rows, columns] = rng.choice([1e6, -1e6], 100)
    found = ranked(sound, tmp_path, z)
    told = pyogrio.read_dataframe(tmp_path / "out.gpkg", layer="findings")
    assert (told["code"] == "absurd_elevation").any()
    assert found["bank_height_m"].max() < banks(expected)["bank_height_m"].max() + 0.3

"""Years to the edge from the NRCS lateral recession categories (Windhorn 2000; from memory)."""

import numpy as np
import pandas as pd
import pytest
from stream_tables import context

from reachrank.errors import SettingsError
from reachrank.exposure.recession import (
    add_years,
    category_of_rate,
    recession_rates,
    years_to_edge,
)
from reachrank.settings import ExposureSettings

# Category, low, high in feet a year as printed; the last class is printed as 0.5+.
PRINTED = [("slight", 0.01, 0.05), ("moderate", 0.06, 0.2), ("severe", 0.3, 0.5)]


@pytest.mark.parametrize(("category", "low", "high"), PRINTED)
def test_rates_are_the_printed_ones(category, low, high):
    score = {"slight": 10.0, "moderate": 30.0, "severe": 60.0}[category]
    rates = recession_rates([score])[0]
    assert rates[[0, 2]] == pytest.approx([low * 0.3048, high * 0.3048])
    assert category_of_rate(low) == category
    assert category_of_rate((low + high) / 2.0) == category


def test_middle_of_severe_is_the_rate_a_city_uses():
    # City of Ramsey, Minnesota, uses 0.4 ft/yr for severe and 0.75 for very severe banks.
    assert recession_rates([60.0])[0, 1] == pytest.approx(0.4 * 0.3048)
    assert recession_rates([90.0])[0, 1] == pytest.approx(0.75 * 0.3048)


def test_twenty_feet_of_severe_bank():
    soonest, middle, latest = years_to_edge([20 * 0.3048], [60.0])[0]
    assert (soonest, middle, latest) == pytest.approx((40.0, 50.0, 20.0 / 0.3))


def test_years_stop_at_the_cap_and_unknown_stays_unknown():
    assert (years_to_edge([60.0], [10.0])[0] == 200.0).all()
    assert np.isnan(years_to_edge([np.nan, 5.0], [50.0, np.nan])).all()
    assert (years_to_edge([0.0], [10.0])[0] == 0.0).all()


def test_a_worse_hazard_never_gives_more_years():
    scores = np.linspace(0.0, 100.0, 401)
    years = years_to_edge(np.full(401, 5.0), scores)
    assert (np.diff(years, axis=0) <= 0.0).all()
    assert (years[:, 0] <= years[:, 1]).all()
    assert (years[:, 1] <= years[:, 2]).all()


def test_years_go_to_the_bank_and_the_structure():
    banks = pd.DataFrame(
        {
            "bank_id": ["A", "B"],
            "structure_distance_m": [3.048, np.nan],
            "hazard_score": [60.0, 9.0],
        }
    )
    exposures = pd.DataFrame({"bank_id": ["A", "A"], "bank_distance_m": [3.048, 6.096]})
    out = add_years({"banks": banks, "exposures": exposures}, context())
    assert out["banks"]["reached_middle_yr"].tolist() == pytest.approx([25.0, np.nan], nan_ok=True)
    assert out["exposures"]["reached_middle_yr"].tolist() == pytest.approx([25.0, 50.0])
    assert "reached_middle_yr" not in banks


def test_a_category_without_rates_is_an_error_in_the_settings():
    settings = ExposureSettings(hazard_categories=((0.0, "slight"), (50.0, "awful")))
    with pytest.raises(SettingsError):
        recession_rates([60.0], settings)

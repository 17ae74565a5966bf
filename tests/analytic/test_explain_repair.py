"""The lines of an explanation add up by themselves: a reader with a calculator must agree."""

from __future__ import annotations

import re

import pytest
from repair_places import place

from reachrank.errors import UsageError
from reachrank.report.explain_repair import explain_repair

NUMBER = r"-?[\d,]*\.?\d+"


def numbers(text: str) -> list[float]:
    return [float(n.replace(",", "")) for n in re.findall(NUMBER, text)]


def lines_of(*, us: bool = False, **given: object) -> list[str]:
    tables, ctx = place(**given)
    repair_id = tables["repairs"]["repair_id"].iloc[0]
    return list(explain_repair(tables, repair_id, ctx.settings, us=us))


@pytest.mark.parametrize("us", [False, True])
def test_the_soil_follows_from_the_numbers_shown(us):
    seen = 0
    for line in lines_of(us=us):
        found = re.match(r"  (low|mid|high) = (.*) = (.*)", line)
        if not found:
            continue
        seen += 1
        *factors, divisor = numbers(re.sub(r"lb/ft³|kg/m³", "", found[2]))
        product = factors[0] * factors[1] * factors[2] * factors[3] / divisor
        assert divisor == (2000.0 if us else 1000.0)
        assert product == pytest.approx(numbers(found[3])[0], rel=3e-3)  # three figures are shown
    assert seen == 3


def test_every_price_line_multiplies_and_the_sum_adds_up():
    low = high = 0.0
    lines = lines_of()
    for line in lines:
        found = re.match(
            rf"    ({NUMBER}) x ({NUMBER}) = US\$ ({NUMBER}) to ({NUMBER}) x ({NUMBER}) = "
            rf"US\$ ({NUMBER})",
            line,
        )
        if not found:
            continue
        a, b, c, d, e, f = (float(g.replace(",", "")) for g in found.groups())
        assert a * b == pytest.approx(c, abs=0.005)
        assert d * e == pytest.approx(f, abs=0.005)
        low, high = low + c, high + f
    total = next(line for line in lines if "sum of the costs" in line)
    assert numbers(total) == pytest.approx([low, high])


def test_feet_and_square_yards():
    # 20 m by 3 m: 65.62 ft by 9.84 ft, 71.76 square yards; 23 m with tie-ins are 75.46 ft.
    text = "\n".join(lines_of(us=True))
    assert "face area, low = 65.62 ft x 9.84 ft / 9 = 71.76 yd²" in text
    assert "65.62 ft + 4.92 ft + 4.92 ft = 75.46 ft" in text
    assert "90.0 lb/ft³" in text
    assert not re.search(r"\d (m|m²|m³|m/s|Pa|kg|t)\b", text)


def test_a_bound_tells_its_range():
    text = "\n".join(lines_of(is_bound=True, angle_deg=36.0))
    assert "angle at least 36.0 degrees" in text
    assert "slope height, low: that of a vertical face, 1.50 m" in text
    assert "should the visit find" in text


def test_designed_work_is_length_times_price():
    # 4 m wide without a curve: 4 m above and 6 m below the 20 m; US$ 600 to 2500 (invented).
    text = "\n".join(lines_of(house_m=4.0, curve=None))
    assert "30.00 m of designed work at US$ 600.00 to 2,500.00 per m" in text
    assert "US$ 18,000.00 to US$ 75,000.00" in text
    assert "licensed engineer" in text


@pytest.mark.parametrize("given", [{}, {"house_m": 4.0}, {"angle_deg": 15.0}])
def test_cautions_are_always_there(given):
    text = "\n".join(lines_of(**given))
    for word in ("811", "permits", "without warning", "engineer"):
        assert word in text
    assert ("Never work alone" in text) == (not given)


def test_an_unknown_repair():
    tables, _ = place()
    with pytest.raises(UsageError, match="no repair"):
        list(explain_repair(tables, "S0009-L-0000"))

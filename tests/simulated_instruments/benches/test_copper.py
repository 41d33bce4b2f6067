"""Copper wire."""

from __future__ import annotations

import pytest

from simulated_instruments.benches.copper import gauge_square_millimetres, wire_ohms
from simulated_instruments.benches.wiring import read_wiring


@pytest.mark.parametrize(
    ("gauge", "ohms_a_kilometre", "square_millimetres"),
    [
        (16, 13.174, 1.3087),  # IEC 60028 and ASTM B258, computed
        (18, 20.948, 0.8230),  # IEC 60028 and ASTM B258, computed
        (20, 33.309, 0.5176),  # IEC 60028 and ASTM B258, computed
        (22, 52.963, 0.3255),  # IEC 60028 and ASTM B258, computed
        (24, 84.215, 0.2047),  # IEC 60028 and ASTM B258, computed
        (26, 133.907, 0.1288),  # IEC 60028 and ASTM B258, computed
        (28, 212.921, 0.0810),  # IEC 60028 and ASTM B258, computed
        (30, 338.557, 0.0509),  # IEC 60028 and ASTM B258, computed
    ],
)
def test_wire_gauges_have_their_published_resistance(
    gauge: int, ohms_a_kilometre: float, square_millimetres: float
) -> None:
    """A kilometre of each gauge has the resistance and cross-section of the wire tables."""
    area = gauge_square_millimetres(gauge)
    assert area == pytest.approx(square_millimetres, rel=1e-3)
    assert wire_ohms(1000.0, area) == pytest.approx(ohms_a_kilometre, rel=1e-4)


@pytest.mark.parametrize(("gauge", "published"), [(16, 13.17248), (22, 52.93920), (30, 338.4960)])  # wire tables
def test_the_formula_agrees_with_printed_wire_tables(gauge: int, published: float) -> None:
    """Formula and printed table differ by less than 0.05 %."""
    assert wire_ohms(1000.0, gauge_square_millimetres(gauge)) == pytest.approx(published, rel=5e-4)


@pytest.mark.parametrize(("celsius", "factor"), [(60.0, 1.1572), (75.0, 1.21615)])  # IEC 60028: 1 + 0.00393·(t − 20)
def test_copper_gets_worse_when_warm(celsius: float, factor: float) -> None:
    """The resistance rises by 0.393 % a degree."""
    assert wire_ohms(1.0, 1.0, celsius) / wire_ohms(1.0, 1.0) == pytest.approx(factor, rel=1e-4)


def test_a_pair_of_leads_drops_what_it_should() -> None:
    """1 m of 22 AWG pair at 2 A drops 0.2118 V, 1 m of 0.5 mm² pair at 3 A 0.2069 V."""
    assert 2.0 * wire_ohms(2.0, gauge_square_millimetres(22)) == pytest.approx(0.2118, abs=1e-4)  # Ohm's law, ASTM B258
    assert 3.0 * wire_ohms(2.0, 0.5) == pytest.approx(0.2069, abs=1e-4)  # Ohm's law, IEC 60028


def test_the_fixture_bench_has_leads_of_about_sixty_milliohms() -> None:
    """Both supply leads of each output of the fixture together are 60 mΩ with their contacts."""
    feeds = read_wiring().supply.feeds
    assert [feed.rail for feed in feeds] == ["+5V", "+12V", "AC9", "V9", "-5V"]
    for feed in feeds:
        assert 2.0 * feed.lead_ohms == pytest.approx(0.060, abs=0.002)  # common practice: 47 mΩ of wire and contacts

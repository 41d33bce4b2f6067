"""Logic families against generic data sheets."""

import pytest

from autobench.errors import UsageError
from autobench.signals.families import family, margins


@pytest.mark.parametrize(
    ("name", "supply", "low_in", "high_in", "low_out", "high_out"),
    [
        ("LS", 5.0, 0.8, 2.0, 0.5, 2.7),  # 74LS00 data sheet
        ("TTL", 5.0, 0.8, 2.0, 0.4, 2.4),  # 7400 data sheet, from memory
        ("HC", 4.5, 1.35, 3.15, 0.1, 4.4),  # 74HC00 data sheet at 4.5 V
        ("HC", 2.0, 0.6, 1.4, 0.1, 1.9),  # 0.3 and 0.7 of the supply; the data sheet guarantees 0.5 and 1.5
        ("HC", 5.0, 1.5, 3.5, 0.1, 4.9),  # 0.3 and 0.7 of the supply
        ("HCT", 4.5, 0.8, 2.0, 0.1, 4.4),  # 74HCT00 data sheet
        ("CMOS", 5.0, 1.5, 3.5, 0.05, 4.95),  # CD4000B data sheet at 5 V
        ("CMOS", 10.0, 3.0, 7.0, 0.05, 9.95),  # CD4000B data sheet at 10 V
        ("NMOS", 5.0, 0.8, 2.0, 0.45, 2.4),  # 8255 and 8251 type data sheets, the worse of each
    ],
)
def test_guaranteed_levels(
    name: str, supply: float, low_in: float, high_in: float, low_out: float, high_out: float
) -> None:
    """Each family has its data sheet's guaranteed levels."""
    known = family(name, supply)
    found = (known.low_in, known.high_in, known.low_out, known.high_out)
    assert found == pytest.approx((low_in, high_in, low_out, high_out))


@pytest.mark.parametrize(
    ("driver", "receiver", "supply", "high", "low"),
    [
        ("TTL", "TTL", 5.0, 0.4, 0.4),  # difference of data sheet levels
        ("LS", "LS", 5.0, 0.7, 0.3),  # difference of data sheet levels
        ("HC", "HC", 4.5, 1.25, 1.25),  # difference of data sheet levels, unloaded
        ("HCT", "HCT", 4.5, 2.4, 0.7),  # difference of data sheet levels, unloaded
        ("CMOS", "CMOS", 5.0, 1.45, 1.45),  # difference of data sheet levels
        ("LS", "HC", 4.5, -0.45, 0.85),  # difference of data sheet levels: LS does not drive HC
        ("TTL", "HC", 4.5, -0.75, 0.95),  # difference of data sheet levels
    ],
)
def test_noise_margins(driver: str, receiver: str, supply: float, high: float, low: float) -> None:
    """Noise margins from output to input, negative where a family cannot drive another."""
    assert margins(family(driver, supply), family(receiver, supply)) == pytest.approx((high, low))


def test_margins_within_a_family() -> None:
    """A family's own margins are those to itself."""
    known = family("LS")
    assert (known.high_margin, known.low_margin) == margins(known, known)


def test_unknown_family_is_refused() -> None:
    """An unknown name is refused with those allowed."""
    with pytest.raises(UsageError, match="TTL, LS, NMOS, HCT, HC, CMOS"):
        family("ECL")

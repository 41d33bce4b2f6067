"""Whether each instrument is what the bench file says: opened layer by layer, its dialect, its identity, its errors.

Questions only; nothing is set here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from autobench.commissioning.port import Port, require_open_to_us
from autobench.commissioning.recognition import answers
from autobench.documents.bench import Bench
from autobench.documents.driver import Driver
from autobench.errors import BenchError, LayerError, LinkError, LinkLostError, NoReplyError
from autobench.instruments.dialect import Dialect
from autobench.instruments.opened import Opened, Opener

UNANSWERED = 0.5  # s a question that its dialect does not know may stay unanswered


@dataclass(frozen=True)
class LayeredOpener(Opener):
    """Opens a bench and says, where it cannot, which layer failed."""

    def open(self, bench: Bench, drivers: Mapping[str, Driver], *, only_supplies: bool = False) -> Opened:
        """As `Opener.open`, with a `LayerError` for whatever fails."""
        if self.library is None:
            for name, instrument in bench.instruments.items():
                require_open_to_us(Port(name, instrument.address))
        return super().open(bench, drivers, only_supplies=only_supplies)

    def _open_one(self, opened: Opened, bench: Bench, name: str, driver: Driver) -> None:
        try:
            super()._open_one(opened, bench, name, driver)
        except LinkLostError as error:
            raise LayerError(name, "port", error.text) from error
        except NoReplyError as error:
            raise LayerError(name, "reply", error.text) from error
        except LinkError as error:
            layer = "identity" if "serial number" in error.text else "dialect"
            raise LayerError(name, layer, error.text) from error
        except BenchError as error:
            raise LayerError(name, "dialect", str(error).removeprefix(f"{name}: ")) from error


def speaks(dialect: Dialect, identity: str) -> str:
    """The identity, once the instrument has answered everything its dialect answers; raises `LayerError`."""
    name = dialect.name
    try:
        if found := dialect.errors():
            quoted = "; ".join(f'{code},"{words}"' for code, words in found)
            raise LayerError(name, "dialect", f"it reports {quoted} though nothing was asked of it yet")
        again = dialect.identify()
    except LinkError as error:
        raise LayerError(name, "reply", error.text) from error
    if again != identity:
        raise LayerError(name, "identity", f"it said '{identity}' first and '{again}' now")
    answers_its_dialect(dialect)
    return identity


def answers_its_dialect(dialect: Dialect) -> None:
    """Every question of the driver's `recognised by`; raises `LayerError` for the layer `dialect`."""
    rule, name = dialect.driver.recognised_by, dialect.name
    if rule is None:
        return
    wrong = f"the dialect '{dialect.driver.driver}'"
    for action in rule.answers:
        try:
            answer = dialect.question(action, action.ask or "", "", None)
        except LinkError as error:
            raise LayerError(name, "dialect", f"it does not speak {wrong}: {error.text}") from error
        if action.answer == "word" and not answer.truth:
            raise LayerError(name, "dialect", f"it does not speak {wrong}: '{action.ask}' is answered otherwise")
    for line in rule.leaves_unanswered:
        if answers(dialect, line, UNANSWERED):
            raise LayerError(name, "dialect", f"it does not speak {wrong}, but a cousin: it answers '{line}'")
    if rule.leaves_unanswered:
        dialect.errors()
        dialect.clear()

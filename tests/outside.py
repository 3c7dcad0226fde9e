"""Checks against values published outside this project, and the table of them after every run.

    @pytest.mark.outside("ISO 898-1:2013, tables 4 and 5, proof loads")
    def test_proof_loads(published):
        published.close(computed, value, rel=0.006, unit="N")

The mark names document, edition and table. Every comparison through `published` is recorded with its
deviation; a marked test that compared nothing fails, so no number in the table is there by its mark alone.
The records travel in the reports' user_properties, which also come home from pytest-xdist's workers.
"""

from dataclasses import asdict, dataclass
from decimal import Decimal

import pytest

PROPERTY = "outside"


@dataclass
class Published:
    """Compares computed with published values and keeps how far apart they were.

    `values` counts all comparisons, `exact` those of answers that are no numbers; `largest` is the
    largest deviation, as a fraction of the published number.
    """

    source: str
    values: int = 0
    exact: int = 0
    largest: float = 0.0

    def close(
        self,
        computed: Decimal | float,
        value: Decimal | float,
        *,
        rel: float | None = None,
        within: float | None = None,
        unit: str = "",
        what: str = "value",
    ) -> None:
        """Assert that a computed number meets a published one: to the fraction `rel`, or `within` so much.

        A published zero has no relative deviation: it needs `within`, and counts as an exact answer.
        """
        __tracebackhide__ = True
        if (rel is None) == (within is None):
            raise TypeError("give one tolerance, rel or within")
        got, want = Decimal(str(computed)), Decimal(str(value))
        assert got.is_finite(), f"{what}: {computed} is not a number to compare ({self.source})"
        if want == 0 and within is None:
            raise TypeError("a published zero needs a tolerance in its own unit: within=")
        off = abs(got - want)
        share = float(off / abs(want)) if want else 0.0
        allowed = Decimal(str(within)) if within is not None else abs(want) * Decimal(str(rel))
        self._record(share, exact=want == 0)
        assert off <= allowed, (
            f"{what}: computed {float(computed):.9g} {unit}, published {value} {unit}; "
            f"off by {share:.3%}, allowed {float(allowed):.3g} {unit} ({self.source})"
        )

    def same(self, computed: object, value: object, what: str = "answer") -> None:
        """Assert that a computed answer is the published one: a character, a word, a year, a size."""
        __tracebackhide__ = True
        self._record(0.0, exact=True)
        assert computed == value, f"{what}: computed {computed!r}, published {value!r} ({self.source})"

    def _record(self, share: float, *, exact: bool) -> None:
        self.values += 1
        self.exact += exact
        self.largest = max(self.largest, share)


def _source(item: pytest.Item) -> str | None:
    """The text of the nearest mark; "" for a mark that names nothing; None without a mark."""
    mark = item.get_closest_marker("outside")
    if mark is None:
        return None
    return str(mark.args[0] if mark.args else mark.kwargs.get("source", "")).strip()


@pytest.fixture
def published(request: pytest.FixtureRequest) -> Published:
    """Comparisons with the source that the test's `outside` mark names."""
    comparisons = Published(_source(request.node) or "")
    request.node.stash[_COMPARISONS] = comparisons
    return comparisons


_COMPARISONS = pytest.StashKey[Published]()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item: pytest.Item):
    source = _source(item)
    comparisons = item.stash.get(_COMPARISONS, None)
    if comparisons and source is None:
        pytest.fail('a test that uses `published` names its source: @pytest.mark.outside("…")')
    if source == "":
        pytest.fail("the outside mark names no source")
    try:
        result = yield
    finally:
        if comparisons and comparisons.values:
            item.user_properties.append((PROPERTY, asdict(comparisons)))
    if source is not None and not (comparisons and comparisons.values):
        pytest.fail("marked outside, but compared nothing with `published`")
    return result


class OutsideTable:
    """Gathers the records of every report, of this process or of a worker, and prints them at the end."""

    def __init__(self) -> None:
        self.sources: dict[str, Published] = {}

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.when != "call":
            return
        for name, record in report.user_properties:
            if name == PROPERTY:
                found = self.sources.setdefault(record["source"], Published(record["source"]))
                found.values += record["values"]
                found.exact += record["exact"]
                found.largest = max(found.largest, record["largest"])

    def pytest_terminal_summary(self, terminalreporter: pytest.TerminalReporter) -> None:
        if not self.sources:
            return
        terminalreporter.section("outside values")
        for source in sorted(self.sources.values(), key=lambda s: s.source):
            deviation = "exact" if source.exact == source.values else f"{source.largest:.2e}"
            terminalreporter.write_line(f"{source.values:5}  {deviation:>9}  {source.source}")
        values = sum(s.values for s in self.sources.values())
        worst = max(self.sources.values(), key=lambda s: s.largest)
        where = f" ({worst.source})" if worst.largest else ""
        terminalreporter.write_line(
            f"{values} outside values from {len(self.sources)} sources; "
            f"largest deviation {worst.largest:.3%}{where}"
        )


def pytest_configure(config: pytest.Config) -> None:
    if not any(line.startswith("outside") for line in config.getini("markers")):
        config.addinivalue_line("markers", "outside(source): a check against a value published elsewhere")
    config.pluginmanager.register(OutsideTable(), "outside-table")

"""A tyre size as it stands on the sidewall, read into its numbers.

Metric sizes (205/55 R16 91V) with P, LT, T before or C behind, ZR, old ones without a height (165 SR 13), metric
rims (190/65 R390), sizes by outside diameter in inches (31x10.50 R15) and old ones by their width in inches (5.60-13),
which say no diameter. What can't be read is refused in words.
Form of the size and speed symbols: ISO 4000-1, UN R30 and R54.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from workshop.engineering.errors import EngineeringError

MM_PER_INCH = 25.4
# A radial that says no height: 82 % (some makers 80 %). From memory.
HEIGHT_WITHOUT_A_FIGURE = 82.0

# km/h. N to Y from a tyre seller's table; the others from memory.
SPEED_SYMBOLS: dict[str, int] = {
    "B": 50, "C": 60, "D": 65, "E": 70, "F": 80, "G": 90, "J": 100, "K": 110, "L": 120, "M": 130,
    "N": 140, "P": 150, "Q": 160, "R": 170, "S": 180, "T": 190, "U": 200, "H": 210, "V": 240, "W": 270, "Y": 300,
}  # fmt: skip

# Words behind the size that change no dimension. XL and its fellows stand for extra load.
_EXTRA_LOAD = ("XL", "EXTRA LOAD", "REINFORCED", "REINF", "RF")
_NO_MATTER = ("M+S", "M&S", "M/S", "3PMSF", "TL", "TT", "TUBELESS", "M/C", "RFT", "RUNFLAT", "FR", "MFS")

_METRIC = re.compile(
    r"(?P<prefix>P|LT|T)?\s*"
    r"(?P<width>[0-9]{2,3})"
    r"(?:\s*/\s*(?P<aspect>[0-9]{2,3}))?\s*"
    r"(?P<inner>[A-Z])?(?P<build>[RDB-])\s*"
    r"(?P<rim>[0-9]{3}|[0-9]{1,2}(?:[.,]5)?)(?![0-9])\s*"
    r"(?P<suffix>C|LT)?(?![A-Z])"
    r"(?P<rest>.*)"
)
_BY_DIAMETER = re.compile(
    r"(?P<diameter>[0-9]{2}(?:[.,][0-9]{1,2})?)\s*[X×]\s*(?P<width>[0-9]{1,2}(?:[.,][0-9]{1,2})?)\s*"
    r"(?P<build>[RDB-])\s*(?P<rim>[0-9]{1,2}(?:[.,]5)?)(?![0-9])\s*(?P<suffix>LT|C)?(?![A-Z])(?P<rest>.*)"
)
# 5.60-13, 6.40 S 13, 6.40 SR 13, 7.00 R16C: the letter before R, or in its stead, is a speed symbol.
_INCH = re.compile(
    r"(?P<width>[0-9]{1,2}[.,][0-9]{1,2})\s*(?:(?P<inner>[A-Z])(?=R|\s*[0-9]))??(?P<build>[RDBX×-])?\s*"
    r"(?P<rim>[0-9]{1,2}(?:[.,]5)?)(?![0-9.,])\s*(?P<suffix>LT|C)?(?![A-Z])(?P<rest>.*)"
)
# A ply rating is a class of strength from the days of cotton; what the tyre carries says the load index.
_PLY = re.compile(r"(?<=\s)([0-9]{1,2})\s?PR(?=\s)")
# 91V, 104/102R, (91Y); a load index alone counts too.
_SERVICE = re.compile(
    r"\(?\s*(?P<index>[0-9]{2,3})(?:\s*/\s*(?P<twin>[0-9]{2,3}))?\s*(?P<symbol>A[1-8]|[A-Z])?\s*\)?(?![A-Z0-9])"
)


class TyreError(EngineeringError):
    """A size, index or symbol that can't be read; the sentence says what to look at."""


@dataclass(frozen=True)
class TyreSize:
    """`width` in mm, `aspect` in %, `rim` in mm; `outside` in mm where the size names the diameter itself.

    `aspect` None: no height is said and none can be taken (old sizes by inches, cross-ply without a height): width
    and rim are known, and asking for the diameter is refused.

    `kind`: "" (metric), "P", "LT", "T" (temporary spare) or "C" (commercial). `radial` False: cross-ply or belted.
    `load_index` is that of a single tyre, `twin_index` that of twinned ones. `symbol` "" = not said; ZR alone
    says "over 240 km/h" and leaves it empty. `height_assumed`: the size names no height. `ply`: the ply rating.
    """

    text: str
    width: float
    aspect: float | None
    rim: float
    kind: str = ""
    radial: bool = True
    zr: bool = False
    extra_load: bool = False
    load_index: int | None = None
    twin_index: int | None = None
    symbol: str = ""
    outside: float | None = None
    height_assumed: bool = False
    ply: int | None = None

    @property
    def has_diameter(self) -> bool:
        return self.outside is not None or self.aspect is not None

    @property
    def diameter(self) -> float:
        """Outside diameter by the size, mm: the rim and the sidewall twice. Refuses with `TyreError` where it says none."""
        if self.outside is not None:
            return self.outside
        if self.aspect is None:
            raise TyreError(
                f"“{self.text}” names no height, so nobody can work out its diameter: take the circumference from the "
                "tyre's maker, or measure one turn."
            )
        return self.rim + 2 * self.width * self.aspect / 100

    @property
    def sidewall(self) -> float:
        """Height of the sidewall, mm."""
        return (self.diameter - self.rim) / 2


def parse_size(text: str) -> TyreSize:
    """The size in a text. Small letters and blanks don't matter; refuses with `TyreError` what isn't a size."""
    tidy = " ".join(text.upper().replace("\u2044", "/").replace("\u2013", "-").split())
    if match := _BY_DIAMETER.fullmatch(tidy):
        return _by_diameter(tidy, match)
    if match := _METRIC.fullmatch(tidy):
        return _metric(tidy, match)
    if (match := _INCH.fullmatch(tidy)) and (match["inner"] or match["build"]):
        return _by_inches(tidy, match)
    raise TyreError(
        f"“{tidy[:40]}” is not read as a tyre size. Write it as on the sidewall, such as 205/55 R16 91V."
    )


def _metric(tidy: str, match: re.Match[str]) -> TyreSize:
    width, aspect = float(match["width"]), match["aspect"]
    build, inner = match["build"], match["inner"] or ""
    rim = _rim(match["rim"])
    if not 60 <= width <= 405:
        raise TyreError(f"A tyre {width:.0f} mm wide is not plausible: widths lie between 60 and 405 mm.")
    if aspect is not None and not 20 <= float(aspect) <= 110:
        raise TyreError(f"A height of {aspect} % is not plausible: heights lie between 20 and 110 %.")
    _check_inner(inner, build)
    taken = HEIGHT_WITHOUT_A_FIGURE if build == "R" else None
    rest = _rest(match["rest"])
    kind = match["prefix"] or match["suffix"] or ""
    return TyreSize(
        tidy,
        width,
        float(aspect) if aspect else taken,
        rim,
        kind=kind,
        radial=build == "R",
        zr=inner == "Z",
        extra_load=rest.extra_load,
        load_index=rest.index,
        twin_index=rest.twin,
        symbol=rest.symbol or (inner if inner != "Z" else ""),
        height_assumed=aspect is None and taken is not None,
        ply=rest.ply,
    )


def _check_inner(inner: str, build: str) -> None:
    if inner and inner not in SPEED_SYMBOLS and inner != "Z":
        raise TyreError(f"“{inner}{build}” is not read: before the R stands nothing, a speed symbol or Z.")


def _by_inches(tidy: str, match: re.Match[str]) -> TyreSize:
    width, build, inner = _inches(match["width"]), match["build"] or "", match["inner"] or ""
    if not 50 <= width <= 405:
        raise TyreError(f"A tyre {match['width']} in wide is not plausible: widths lie between 2 and 16 in.")
    _check_inner(inner, build)
    rest = _rest(match["rest"])
    return TyreSize(
        tidy,
        width,
        None,
        _rim(match["rim"]),
        kind=match["suffix"] or "",
        radial=build == "R",
        zr=inner == "Z",
        extra_load=rest.extra_load,
        load_index=rest.index,
        twin_index=rest.twin,
        symbol=rest.symbol or (inner if inner != "Z" else ""),
        ply=rest.ply,
    )


def _by_diameter(tidy: str, match: re.Match[str]) -> TyreSize:
    outside, width, rim = _inches(match["diameter"]), _inches(match["width"]), _rim(match["rim"])
    if not rim + 25 < outside:
        raise TyreError("The outside diameter must be larger than the rim: look at the figures again.")
    rest = _rest(match["rest"])
    return TyreSize(
        tidy,
        width,
        (outside - rim) / 2 / width * 100,
        rim,
        kind=match["suffix"] or "",
        radial=match["build"] == "R",
        extra_load=rest.extra_load,
        load_index=rest.index,
        twin_index=rest.twin,
        symbol=rest.symbol,
        outside=outside,
        ply=rest.ply,
    )


@dataclass(frozen=True)
class _Rest:
    index: int | None
    twin: int | None
    symbol: str
    extra_load: bool
    ply: int | None


def _rest(text: str) -> _Rest:
    """What stands behind the size: load index, speed symbol, and words that change nothing here."""
    left, extra = f" {text} ", False
    for words, matters in ((_EXTRA_LOAD, True), (_NO_MATTER, False)):
        for word in words:
            shorter = re.sub(rf"(?<=\s){re.escape(word)}(?=\s)", " ", left)
            extra = extra or (matters and shorter != left)
            left = shorter
    found = _PLY.search(left)
    ply = int(found[1]) if found else None
    left = _PLY.sub(" ", left).strip()
    if not left:
        return _Rest(None, None, "", extra, ply)
    match = _SERVICE.fullmatch(left)
    if match is None:
        raise TyreError(
            f"“{left[:20]}” behind the size is not read: give load index and speed symbol, such as 91V."
        )
    symbol = match["symbol"] or ""
    if symbol:
        speed_of(symbol)
    return _Rest(int(match["index"]), int(match["twin"]) if match["twin"] else None, symbol, extra, ply)


def _rim(text: str) -> float:
    """A rim's diameter in mm: two figures are inches, three are millimetres."""
    value = float(text.replace(",", "."))
    if len(text) == 3 and text.isdigit():
        if not 300 <= value <= 560:
            raise TyreError(f"A rim of {text} mm is not plausible: metric rims lie between 300 and 560 mm.")
        return value
    if not 4 <= value <= 26:
        raise TyreError(f"A rim of {text} in is not plausible: rims lie between 4 and 26 in.")
    return value * MM_PER_INCH


def _inches(text: str) -> float:
    return float(text.replace(",", ".")) * MM_PER_INCH


def speed_of(symbol: str) -> int:
    """The greatest speed of a speed symbol in km/h, or `TyreError`. A1 to A8 are 5 to 40 km/h."""
    tidy = symbol.strip().upper()
    if re.fullmatch("A[1-8]", tidy):
        return 5 * int(tidy[1])
    if tidy not in SPEED_SYMBOLS:
        raise TyreError(f"“{tidy[:8]}” is no speed symbol: it is one letter, such as S, T, H or V.")
    return SPEED_SYMBOLS[tidy]

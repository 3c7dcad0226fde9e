"""Labels on paper: the sheets and rolls they are printed on, where each label lies, and how large its parts are.

Lengths in millimetres, letters in points. What a label says is given by the room that knows the thing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from workshop.sheets import Printed, lay_out, qr_code

A4 = (210.0, 297.0)  # ISO 216
LETTER = (215.9, 279.4)  # 8.5 × 11 in, ANSI/ASME Y14.1 size A

# A code of 15 mm is read by a tablet held a forearm away, and its modules are twice as wide as a dot of the coarsest
# label printer (203 dots to the inch): common practice, no source.
LEAST_CODE = 15.0
LARGEST_CODE = 34.0
QUIET = 4  # modules that stay white on every side: ISO/IEC 18004, quiet zone
# The smallest symbol that an address of ours comes to has 29 modules: with its quiet zone the code takes this much.
LEAST_BOX = LEAST_CODE * (29 + 2 * QUIET) / 29
# What most printers of sheets cannot reach, from the paper's edge; a label printer reaches nearer. Common practice.
UNPRINTABLE = 5.0
AIR, AIR_ON_A_ROLL = 2.0, 1.5
GAP = 1.5  # between the code and the words
# A label of one's own size: below, code and two words have no room; above, no label printer takes it.
WIDTHS, HEIGHTS = (45, 160), (23, 160)
MOST_LABELS = 120  # in one print: some five seconds of the server's

POINT = 25.4 / 72
LEADING = 1.22


@dataclass(frozen=True)
class Stock:
    """A sheet of labels, or one label off a roll: then the page is the label. Sizes in mm.

    `across` and `down` are from one label's edge to the next one's.
    """

    code: str
    width: float
    height: float
    page: tuple[float, float]
    columns: int = 1
    rows: int = 1
    left: float = 0
    top: float = 0
    across: float = 0
    down: float = 0

    @property
    def per_page(self) -> int:
        return self.columns * self.rows

    @property
    def is_sheet(self) -> bool:
        return self.per_page > 1

    @property
    def words(self) -> str:
        size = f"{self.width:g} × {self.height:g} mm"
        if not self.is_sheet:
            return size
        return f"{self.columns} × {self.rows} labels of {size}"

    @property
    def air(self) -> tuple[float, float]:
        """What stays white inside a label, at its sides and above and below."""
        if not self.is_sheet:
            return AIR_ON_A_ROLL, AIR_ON_A_ROLL
        return max(AIR, UNPRINTABLE - self.left), max(AIR, UNPRINTABLE - self.top)

    def corner(self, place: int) -> tuple[float, float]:
        """Left and top of the label at this place of a page, counted from 0 along the rows."""
        row, column = divmod(place, self.columns)
        return self.left + column * self.across, self.top + row * self.down


def _sheet(
    code: str, page: tuple[float, float], columns: int, rows: int, width: float, height: float, gap: float = 0
) -> Stock:
    """A sheet whose labels stand in the middle of the paper, `gap` apart from side to side, rows touching."""
    left = (page[0] - columns * width - (columns - 1) * gap) / 2
    top = (page[1] - rows * height) / 2
    return Stock(code, width, height, page, columns, rows, left, top, width + gap, height)


# Divisions of a sheet that are sold everywhere, and widths of label rolls: common practice, no source.
SHEETS_A4 = (
    _sheet("a4-3x8", A4, 3, 8, 70, 37),
    _sheet("a4-3x7", A4, 3, 7, 63.5, 38.1, gap=2.5),
    _sheet("a4-2x7", A4, 2, 7, 99.1, 38.1, gap=2.5),
    _sheet("a4-2x4", A4, 2, 4, 99.1, 67.7, gap=2.5),
)
SHEETS_LETTER = (
    _sheet("letter-3x10", LETTER, 3, 10, 66.7, 25.4, gap=3.2),
    _sheet("letter-2x5", LETTER, 2, 5, 101.6, 50.8, gap=4.8),
)
ROLLS = tuple(
    Stock(f"{width}x{height}", width, height, (width, height))
    for width, height in ((62, 29), (57, 32), (54, 25), (62, 100), (102, 51), (100, 70))
)
STOCKS = {stock.code: stock for stock in (*SHEETS_A4, *SHEETS_LETTER, *ROLLS)}


def own_size(width: float, height: float) -> Stock:
    """One label of this size in mm. Raises ValueError outside `WIDTHS` and `HEIGHTS`."""
    if not (WIDTHS[0] <= width <= WIDTHS[1] and HEIGHTS[0] <= height <= HEIGHTS[1]):
        raise ValueError(f"{width} × {height} mm is no label of ours")
    return Stock("own", width, height, (width, height))


@dataclass(frozen=True)
class Label:
    """What one label says: what it is on (`kind`), the words read from afar, smaller lines, and where its code leads."""

    kind: str
    head: str
    lines: tuple[str, ...]
    address: str


@dataclass(frozen=True)
class Fit:
    """Sizes of a label's parts on one stock: the code's box with its quiet zone, the words' box, the letters, and of
    how many lines each piece of text may take."""

    box: float
    words: float
    high: float
    head_pt: float
    line_pt: float
    head_lines: int
    lines: int


def fit(stock: Stock) -> Fit:
    """How a label is divided: code at the left, words beside it."""
    side, above = stock.air
    wide, high = stock.width - 2 * side, stock.height - 2 * above
    box = min(high, max(LEAST_BOX, min(wide * 0.4, LARGEST_CODE)))
    words = wide - box - GAP
    head_pt = round(min(max(high * 0.44, 9), words * 0.38, 22), 1)
    line_pt = round(min(max(high * 0.28, 6.8), words * 0.24, 12), 1)
    # The kind stands above, in letters of a line.
    head_lines = 2 if high >= 26 else 1
    room = high - (head_pt * head_lines + line_pt) * POINT * LEADING
    return Fit(box, words, high, head_pt, line_pt, head_lines, int(room / (line_pt * POINT * LEADING)))


def shared_out(lines: tuple[str, ...], room: int) -> list[tuple[str, int]]:
    """Each line of a label with how many lines of paper it may take: one, and more for the longest while there is room.

    What finds no room is left out from the end: the first say most.
    """
    said = [(line, 1) for line in lines if line][:room]
    for _ in range(room - len(said)):
        longest = max(range(len(said)), key=lambda at: len(said[at][0]) / said[at][1], default=None)
        if longest is None or said[longest][1] > 2:
            break
        said[longest] = (said[longest][0], said[longest][1] + 1)
    return said


def print_labels(labels: list[Label], stock: Stock, *, first: int = 1, copies: int = 1) -> Printed:
    """The PDF of these labels, each so many times, beginning at the first free label of a begun sheet (from 1).

    Raises as `workshop.sheets.lay_out` does.
    """
    sizes = fit(stock)
    each_once = [
        {
            "kind": label.kind,
            "head": label.head,
            "lines": shared_out(label.lines, sizes.lines),
            "qr": qr_code(label.address, f"QR code: {label.address}", border=QUIET),
        }
        for label in labels
    ]
    drawn = [one for one in each_once for _ in range(copies)]
    pages: list[list[dict[str, Any]]] = []
    at = first - 1 if stock.is_sheet else 0
    for each in drawn:
        if not pages or at == stock.per_page:
            pages.append([])
            at = 0 if pages[1:] else at
        pages[-1].append({**each, "at": at})
        at += 1
    context = {"pages": pages, "kinds": sorted({label.kind for label in labels})}
    return lay_out("sheets/labels.html", context, "labels", css=_css(stock, sizes)).printed()


def _css(stock: Stock, sizes: Fit) -> str:
    """Sizes as a style sheet: they are data, and templates hold no style."""
    side, above = stock.air
    wide, high = stock.page
    corners = "".join(
        f".at-{place} {{ left: {left:.3f}mm; top: {top:.3f}mm }}\n"
        for place, (left, top) in ((place, stock.corner(place)) for place in range(stock.per_page))
    )
    return f"""
@page {{ size: {wide:g}mm {high:g}mm; margin: 0 }}
.page {{ width: {wide:g}mm; height: {high:g}mm }}
.one {{ width: {stock.width:g}mm; height: {stock.height:g}mm }}
.one .code {{ left: {side:.3f}mm; top: {above + (sizes.high - sizes.box) / 2:.3f}mm }}
.one .code, .one .code svg {{ width: {sizes.box:.3f}mm; height: {sizes.box:.3f}mm }}
.one .said {{ left: {side + sizes.box + GAP:.3f}mm; top: {above:.3f}mm; width: {sizes.words:.3f}mm;
  height: {sizes.high:.3f}mm; font-size: {sizes.line_pt}pt; line-height: {LEADING} }}
.one h2 {{ font-size: {sizes.head_pt}pt; line-height: {LEADING}; max-lines: {sizes.head_lines} }}
{corners}"""

"""Turn the rows of a table into the assays of a laboratory's sheet.

Data flow in one direction: table, entry, join with the session. Injections of one vial are averaged
and kept beside their mean; rows of means and spreads below the vials are checked against our own
values.
"""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from assistant.errors import InputError
from assistant.evaluation.assay_units import Unit
from assistant.evaluation.descriptive import Summary, summarise
from assistant.evaluation.number_parsing import Cell, Place, decimal_mark, number, text_of
from assistant.evaluation.sheet_import import Columns, Table, columns_of

MASS_AGREEMENT = 0.005
"""Relative tolerance within which two values of a mass agree."""
MADE_UP = "made up by sampling-assistant"
"""Value of the column 'origin' in every row of a simulated sheet."""

_VIAL = re.compile(r"(?:(?:vial|sample|no|nr|number)(?![a-z]))?[\s._#:-]*(\S+)", re.IGNORECASE)
_SUMMARY: Mapping[str, Callable[[Summary], float | None]] = {
    r"mean|average|avg|x ?bar": lambda found: found.mean,
    r"sd|s|st(?:andard)? ?dev(?:iation)?|stdev": lambda found: found.sd,
    r"%? ?rsd ?%?|%? ?cv ?%?|srel": lambda found: found.rsd,
    r"min(?:imum)?|lowest": lambda found: found.low,
    r"max(?:imum)?|highest": lambda found: found.high,
    r"n|count": lambda found: float(found.n),
}


@dataclass(frozen=True, slots=True)
class Key:
    """How a row identifies its vial; the session's own code sets every field."""

    label: str = ""
    """Number or label of the vial; '' if it is identified by its place."""
    location: str = ""
    position: str = ""
    port: str = ""

    def __str__(self) -> str:
        """The vial as named in messages."""
        place = " ".join(filter(None, (self.location, self.position, self.port)))
        return " at ".join(filter(None, (self.label, place)))


@dataclass(frozen=True, slots=True)
class Entry:
    """One vial of the sheet, not yet in % of target."""

    key: Key
    value: float | None
    """Mean of its injections; None if the cells are empty."""
    mass_mg: float | None
    batch: str | None
    row: int
    injections: tuple[float, ...] = ()
    """The single injections, if there are several."""

    @property
    def vial(self) -> str:
        """The vial as named in the sheet."""
        return str(self.key)


@dataclass(frozen=True, slots=True)
class Sheet:
    """A laboratory's sheet."""

    name: str
    heading: str
    """Heading of the assay column."""
    unit: Unit | None
    """None if neither heading nor command names it."""
    readable_as: tuple[Unit, ...]
    """The possible units if the heading is ambiguous."""
    confirmed: bool
    """Whether the command or the plan named the unit."""
    entries: tuple[Entry, ...]
    ignored: tuple[str, ...]
    """Headings, title rows, notes and other sheets that were not used."""
    made_up: bool = False
    """Whether the column 'origin' says that the sheet is simulated."""

    def in_unit(self, unit: Unit) -> "Sheet":
        """The sheet with the unit named by the command or the plan.

        Raises:
            InputError: the heading names another one.
        """
        if self.unit not in (None, unit) or (self.readable_as and unit not in self.readable_as):
            says = self.unit or " or ".join(self.readable_as)
            raise InputError(
                f"{self.name}: column {self.heading!r} is in {says}, not in {unit} as requested."
            )
        return replace(self, unit=unit, confirmed=True)


_OPEN = {
    "%": (Unit.PERCENT, Unit.BY_WEIGHT),
    "fraction": (Unit.FRACTION,),
    "": (),
}


def read_sheet(table: Table, unit: Unit | None = None) -> Sheet:
    """Read the entries of a table.

    Args:
        table: rows under named columns.
        unit: unit of the assays, from the command; must agree with the heading.

    Raises:
        InputError: the unit is contradictory, a number cannot be read, a vial has no label, or a
            row of means or spreads differs from the assays above it.
    """
    columns = columns_of(table)
    for kind, mass_unit in columns.mass_units.items():
        if not mass_unit:
            heading = table.columns[columns.single[kind]]
            raise InputError(f"{table.name}: column {heading!r} should name its unit, (mg) or (g).")
    reader = _Reader(table, columns, _mark(table, columns))
    entries = tuple(_together(table.name, [entry for _, entry in reader.entries()], columns))
    values = [entry.value for entry in entries if entry.value is not None]
    if not values:
        raise InputError(f"{table.name} contains no assay: fill in the assay column.")
    reader.check_summaries(values)
    stated = columns.unit
    sheet = Sheet(
        name=table.name,
        heading=table.columns[columns.assays[0]],
        unit=None if stated in _OPEN else Unit(stated),
        readable_as=_OPEN.get(stated, ()),
        confirmed=False,
        entries=entries,
        ignored=(*columns.ignored, *table.set_aside, *reader.notes),
        made_up=reader.made_up,
    )
    if sheet.readable_as == (Unit.FRACTION,):
        sheet = replace(sheet, unit=Unit.FRACTION)
    return sheet if unit is None else sheet.in_unit(unit)


def _mark(table: Table, columns: Columns) -> str:
    numeric = [*columns.assays, *(columns.single[kind] for kind in columns.mass_units)]
    return decimal_mark(
        [
            (Place(row, table.columns[index]), cells[index])
            for row, cells in table.rows
            for index in numeric
        ]
    )


class _Reader:
    """Reads the rows of one table, top to bottom."""

    def __init__(self, table: Table, columns: Columns, mark: str) -> None:
        self._table, self._columns, self._mark = table, columns, mark
        self._summaries: list[tuple[int, str, Callable[[Summary], float | None], str]] = []
        self.notes: list[str] = []
        self.made_up = False

    def entries(self) -> Iterator[tuple[int, Entry]]:
        """Yield every row that is a vial; keep the others for later."""
        for row, cells in self._table.rows:
            texts = [text_of(cell) for cell in cells]
            word = next(filter(None, texts))
            figure = _summary_of(word)
            if figure is not None and not self._is_vial(texts, word):
                index = self._columns.assays[0]
                self._summaries.append((row, word, figure, texts[index]))
            elif len([text for text in texts if text]) == 1 and re.search(r"[^\W\d]+[ :]", word):
                self.notes.append(word)
            else:
                yield row, self._entry(row, cells)

    def _is_vial(self, texts: Sequence[str], word: str) -> bool:
        """Whether a word such as 'S' is a place name rather than a statistic."""
        first = texts.index(word)
        keys = [self._columns.single.get(kind) for kind in ("location", "position", "vial")]
        return first not in keys or sum(bool(texts[key]) for key in keys if key is not None) > 1

    def _entry(self, row: int, cells: Sequence[Cell]) -> Entry:
        columns, name = self._columns, self._table.name
        key = self._key(row, cells)
        values = [self._number(row, cells, index) for index in columns.assays]
        found = [value for value in values if value is not None]
        if any(value < 0 for value in found):
            raise InputError(f"{name}: the assay of vial {key} (row {row}) is negative.")
        self.made_up |= self._text(cells, "origin") == MADE_UP
        return Entry(
            key=key,
            value=sum(found) / len(found) if found else None,
            mass_mg=self._mass(row, key, cells),
            batch=self._text(cells, "batch") or None,
            row=row,
            injections=tuple(found) if len(found) > 1 else (),
        )

    def _key(self, row: int, cells: Sequence[Cell]) -> Key:
        position = self._text(cells, "position")
        location = self._text(cells, "location")
        place = (location, position, self._text(cells, "port"))
        if "vial" not in self._columns.single:
            if not location or not position:
                raise InputError(
                    f"{self._table.name}, row {row}: the vial has no location or position; add it."
                )
            return Key("", *place)
        label = self._text(cells, "vial")
        if not label:
            raise InputError(f"{self._table.name}, row {row}: the vial has no label; add it.")
        return Key(label, *place)

    def _mass(self, row: int, key: Key, cells: Sequence[Cell]) -> float | None:
        found = {}
        for kind, unit in self._columns.mass_units.items():
            mass = self._number(row, cells, self._columns.single[kind])
            if mass is not None:
                found[kind] = mass * (1000.0 if unit == "g" else 1.0)
        net = found.get("mass")
        if "gross" in found and "tare" in found:
            apart = found["gross"] - found["tare"]
            if net is not None and differ(net, apart):
                raise InputError(
                    f"{self._table.name}: vial {key} (row {row}) has a net mass of {net:g} mg, but "
                    f"gross less tare is {apart:g} mg: correct one."
                )
            net = apart if net is None else net
        if net is not None and net <= 0:
            raise InputError(
                f"{self._table.name}: the mass of vial {key} (row {row}) must be above 0."
            )
        return net

    def _number(self, row: int, cells: Sequence[Cell], index: int) -> float | None:
        return number(cells[index], Place(row, self._table.columns[index]), self._mark)

    def _text(self, cells: Sequence[Cell], kind: str) -> str:
        index = self._columns.single.get(kind)
        return "" if index is None else text_of(cells[index])

    def check_summaries(self, values: Sequence[float]) -> None:
        """Compare rows of means and spreads with our own values, to their number of decimals.

        Raises:
            InputError: one differs.
        """
        for row, word, figure, text in self._summaries:
            place = Place(row, self._table.columns[self._columns.assays[0]])
            stated, ours = number(text, place, self._mark), figure(summarise(values))
            if stated is None or ours is None:
                continue
            decimals = len(re.sub(r"[^\d.,]", "", text).replace(",", ".").partition(".")[2])
            if abs(stated - ours) > 0.51 * 10.0**-decimals:
                raise InputError(
                    f"{self._table.name}, row {row}: the sheet's own {word!r} is {stated:g}, but "
                    f"the assays above give {ours:.{decimals + 1}f}: correct the sheet."
                )


def _summary_of(word: str) -> Callable[[Summary], float | None] | None:
    plain = re.sub(r"[\s_.:=()]+", " ", word.casefold()).strip()
    return next(
        (figure for pattern, figure in _SUMMARY.items() if re.fullmatch(pattern, plain)), None
    )


def _together(name: str, entries: Sequence[Entry], columns: Columns) -> Iterator[Entry]:
    """The entries; rows of one vial with different injections are averaged."""
    if "injection" not in columns.single:
        yield from entries
        return
    rows: dict[Key, list[Entry]] = {}
    for entry in entries:
        rows.setdefault(entry.key, []).append(entry)
    for members in rows.values():
        first = members[0]
        values = tuple(entry.value for entry in members if entry.value is not None)
        masses = {entry.mass_mg for entry in members if entry.mass_mg is not None}
        if len(masses) > 1 or len({entry.batch for entry in members}) > 1:
            raise InputError(
                f"{name}: the injections of vial {first.vial} (from row {first.row}) differ in "
                "mass or batch: correct the sheet."
            )
        yield replace(
            first,
            value=sum(values) / len(values) if values else None,
            mass_mg=next(iter(masses), None),
            injections=values if len(values) > 1 else (),
        )


def label_of(text: str) -> str:
    """A vial's label without the word before it: '7' of 'Vial 7'."""
    found = _VIAL.fullmatch(text)
    return found[1] if found else text


def differ(one: float | None, other: float | None) -> bool:
    """Whether two values of a mass, mg, disagree; unknown values never do."""
    if one is None or other is None:
        return False
    return abs(one - other) > MASS_AGREEMENT * max(one, other)

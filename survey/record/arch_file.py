"""arch.toml: what it may hold, checked key by key, every error told as a fault with its key.

Lengths stay in ``measure.unit`` here; :mod:`survey.record.arch_values` turns them into millimetres.
"""

from __future__ import annotations

import tomllib
from datetime import date, datetime
from enum import StrEnum
from typing import Annotated, Any, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, model_validator
from pydantic_core import ErrorDetails, PydanticCustomError

from survey.record.broken_toml import tell_broken_line
from survey.record.findings import Findings, listed, nearest, one_line
from survey.record.model import Laid
from survey.record.tables import clean_text, decoded
from survey.record.units import Unit

FILE = "arch.toml"
BLANK = "is blank"


class Cut(StrEnum):
    """How the bricks of a ring are shaped: whole with wedge joints, tapered with parallel joints, or both."""

    UNCUT = "uncut"
    CUT = "cut"
    MIXED = "mixed"


def _text(value: object) -> object:
    return clean_text(value) if isinstance(value, str) else value


def _day(value: object) -> object:
    return value.isoformat() if isinstance(value, (date, datetime)) else _text(value)


def _word_of(choices: type[StrEnum]) -> BeforeValidator:
    def choose(value: object) -> StrEnum:
        word = clean_text(value).lower() if isinstance(value, str) else ""
        if word in list(choices):
            return choices(word)
        meant = nearest(word, list(choices))
        allowed = listed((f'"{choice}"' for choice in choices), last="or")
        raise PydanticCustomError(
            "word",
            "{reason}",
            {
                "reason": f"{_shown(value)} is not one of {allowed}",
                "remedy": f'write "{meant}"' if meant else "write one of these",
            },
        )

    return BeforeValidator(choose)


Text = Annotated[str, BeforeValidator(_text)]
Name = Annotated[str, Field(min_length=1), BeforeValidator(_text)]
Day = Annotated[str, BeforeValidator(_day)]
Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Whole = Annotated[int, Field(ge=1, le=99_999)]
Ratio = Annotated[float, Field(ge=0, lt=1)]


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class ArchSection(_Section):
    """``[arch]``."""

    name: Name
    place: Text = ""
    recorded_on: Day = ""
    recorded_by: Text = ""
    note: Text = ""


class MeasureSection(_Section):
    """``[measure]``: the unit of every length in the folder and the uncertainty of one coordinate."""

    unit: Annotated[Unit, _word_of(Unit)]
    point_sigma: Positive | None = None


class RingSection(_Section):
    """``[[rings]]``; for a sawtooth ring ``brick_width`` is the brick's own, across its joint."""

    ring: Whole
    courses: Whole | None = None
    depth: Positive
    brick_width: Positive
    laid: Annotated[Laid, _word_of(Laid)] = Laid.RADIAL
    turn_deg: Annotated[float, Field(ge=0, lt=90)] = 0.0
    cut: Annotated[Cut, _word_of(Cut)] = Cut.UNCUT
    thickness: Positive | None = None
    collar_joint: NotNegative | None = None

    @model_validator(mode="after")
    def _turn_agrees(self) -> Self:
        if self.laid is Laid.SAWTOOTH and self.turn_deg == 0:
            raise _contradiction(
                "laid is sawtooth but turn_deg is 0", "write the angle, for instance turn_deg = 45"
            )
        if self.laid is Laid.RADIAL and self.turn_deg > 0:
            raise _contradiction(
                f"turn_deg is {self.turn_deg:g} but laid is radial",
                'write laid = "sawtooth", or turn_deg = 0',
            )
        return self


class JointsSection(_Section):
    """``[joints]``: limits for the rebuild."""

    min: Positive | None = None
    max: Positive | None = None
    extrados_max: Positive | None = None

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if self.min is not None and self.max is not None and self.min > self.max:
            raise _contradiction(f"min {self.min:g} is greater than max {self.max:g}", "swap them")
        if None not in (self.max, self.extrados_max) and self.extrados_max < self.max:  # type: ignore[operator]
            raise _contradiction(
                f"extrados_max {self.extrados_max:g} is less than max {self.max:g}",
                "joints widen towards the extrados: raise extrados_max",
            )
        return self


class ToleranceSection(_Section):
    """``[tolerance]``: what the job agrees to call out."""

    intrados: Positive | None = None
    joint: Positive | None = None
    face: Positive | None = None
    lip: Positive | None = None
    bed_deg: Annotated[float, Field(gt=0, lt=90)] | None = None
    templet: Positive | None = None


class KnownSection(_Section):
    """One dimension known beforehand."""

    value: float
    sigma: Positive


class KnownLength(KnownSection):
    """One length known beforehand."""

    value: Positive


class KnownTable(_Section):
    """``[known]``; levels are site z where points have z, else face y; axis_x needs points without z."""

    span: KnownLength | None = None
    rise: KnownLength | None = None
    springing_y: KnownSection | None = None
    axis_x: KnownSection | None = None


class CentringSection(_Section):
    """``[centring]``."""

    lagging: NotNegative | None = None
    slack: NotNegative | None = None
    board_length: Positive | None = None
    board_width: Positive | None = None
    board_thickness: Positive | None = None
    wall_thickness: Positive | None = None


class MortarSection(_Section):
    """``[mortar]``; wastes are ratios."""

    name: Text = ""
    bed_depth: Positive | None = None
    waste: Ratio | None = None
    brick_waste: Ratio | None = None


class ViewSection(_Section):
    """``[view]``: a point of the site plan that stands outside, in front of the face."""

    outside: Annotated[list[float], Field(min_length=2, max_length=2)]


class ArchFile(_Section):
    """A whole arch.toml; the tables of sources that are not read yet are only known by name."""

    arch: ArchSection
    measure: MeasureSection
    rings: list[RingSection] = Field(default_factory=list)
    joints: JointsSection = Field(default_factory=JointsSection)
    tolerance: ToleranceSection = Field(default_factory=ToleranceSection)
    known: KnownTable = Field(default_factory=KnownTable)
    centring: CentringSection = Field(default_factory=CentringSection)
    mortar: MortarSection = Field(default_factory=MortarSection)
    view: ViewSection | None = None
    lines: list[dict[str, Any]] = Field(default_factory=list)
    tied: list[dict[str, Any]] = Field(default_factory=list)
    scan: dict[str, Any] | None = None
    photo: dict[str, Any] | None = None

    @model_validator(mode="after")
    def _rings_in_order(self) -> Self:
        numbers = [ring.ring for ring in self.rings]
        twice = sorted({number for number in numbers if numbers.count(number) > 1})
        if twice:
            raise _contradiction(
                f"ring {twice[0]} is described twice", "keep one [[rings]] table for each ring"
            )
        missing = set(range(1, max(numbers, default=0) + 1)) - set(numbers)
        if missing:
            raise _contradiction(
                f"ring {listed(sorted(missing))} is not described, though ring {max(numbers)} is",
                "count the rings 1, 2 … from the opening outwards and describe each",
            )
        return self


def read_arch_file(data: bytes, findings: Findings) -> ArchFile | None:
    """Read arch.toml from its bytes; None with faults where it cannot be used."""
    text = decoded(data, FILE, findings)
    if text is None:
        return None
    try:
        content = tomllib.loads(text.replace("\r\n", "\n").replace("\r", "\n"))
    except tomllib.TOMLDecodeError as error:
        tell_broken_line(FILE, text, str(error), findings)
        return None
    try:
        return ArchFile.model_validate(content)
    except ValidationError as error:
        for detail in error.errors():
            _tell(detail, findings)
        return None


def _contradiction(reason: str, remedy: str) -> PydanticCustomError:
    return PydanticCustomError("contradiction", "{reason}", {"reason": reason, "remedy": remedy})


def _tell(detail: ErrorDetails, findings: Findings) -> None:
    kind, context = detail["type"], detail.get("ctx", {})
    key = _key(detail["loc"])
    given = _shown(detail["input"])
    if kind == "extra_forbidden":
        is_table = isinstance(detail["input"], (dict, list))
        reason = f"is no known {'table' if is_table else 'key'}"
        findings.fault(FILE, reason, _known_keys(detail["loc"], is_table=is_table), column=key)
        return
    reason, remedy = _SAYINGS.get(kind, (detail["msg"], "correct it"))
    if kind == "missing" and key in _SECTIONS:
        needed = [name for name, known in _SECTIONS[key].model_fields.items() if known.is_required()]
        reason, remedy = "this table is missing", f"add [{key}] with {' and '.join(needed)}"
    if kind in ("word", "contradiction"):
        reason, remedy = str(context["reason"]), str(context["remedy"])
    bound = next((context[name] for name in ("gt", "ge", "lt", "le") if name in context), "")
    bound = f"{bound:g}" if isinstance(bound, (int, float)) else bound
    findings.fault(
        FILE, reason.format(given=given, bound=bound), remedy.format(given=given, bound=bound), column=key
    )


_SAYINGS = {
    "missing": ("is missing", "write it"),
    "string_too_short": (BLANK, "write it"),
    "string_type": ("{given} is not text", "put it in quotation marks"),
    "float_type": ("{given} is not a number", "write a number without quotation marks"),
    "less_than_equal": ("{given} is more than {bound}", "write {bound} or less"),
    "int_type": ("{given} is not a whole number", "write a whole number without quotation marks"),
    "int_from_float": ("{given} is not a whole number", "write a whole number"),
    "finite_number": ("{given} is not a finite number", "write the measured value"),
    "greater_than": ("{given} is not greater than {bound}", "write a value above {bound}"),
    "greater_than_equal": ("{given} is less than {bound}", "write {bound} or more"),
    "less_than": ("{given} is not less than {bound}", "write a value below {bound}"),
    "too_short": ("has too few values", "write two numbers, [x, y]"),
    "too_long": ("has too many values", "write two numbers, [x, y]"),
    "list_type": ("is not a list", "write its heading in double brackets, or numbers as [x, y]"),
    "dict_type": ("{given} is not a table", "give it a heading in brackets"),
    "model_type": ("{given} is not a table", "give it a heading in brackets, or {{key = value, …}}"),
}


def _shown(value: object) -> str:
    if isinstance(value, str):
        return f"'{one_line(value)}'"
    if isinstance(value, bool):
        return str(value).lower()
    return one_line(str(value))


def _key(location: tuple[int | str, ...]) -> str:
    path = ""
    for part in location:
        if isinstance(part, int):
            path += f"[{part + 1}]"
        else:
            path += f".{one_line(part)}" if path else one_line(part)
    return path or "[[rings]]"


def _known_keys(location: tuple[int | str, ...], *, is_table: bool) -> str:
    """What to write instead of an unknown key: the place it belongs to, the nearest key, all keys there."""
    *tables, last = (part for part in location if isinstance(part, str))
    here = _SECTIONS[tables[-1]] if tables else ArchFile
    known = list(here.model_fields)
    name = f"[{'.'.join(tables)}]".replace("[rings]", "[[rings]]")
    all_keys = f"{name} has the keys {listed(known, most=len(known))}"
    if not tables:
        known = [key for key in known if key not in _UNREAD]
        all_keys = f"the tables are {listed(known, most=len(known))}"
    word = last.lower()
    elsewhere = [t for t, section in _SECTIONS.items() if word in section.model_fields and not is_table]
    if word in known:
        return f"write it in small letters, {word}"
    if tables and word in ArchFile.model_fields:
        return f"it is a table of its own: write {_heading(word)} on a line alone"
    if elsewhere:
        return f"it belongs in {listed((_heading(table) for table in elsewhere), last='or')}; {all_keys}"
    meant = nearest(word, known)
    return f"is '{meant}' meant? {all_keys}" if meant else all_keys


def _heading(table: str) -> str:
    if table in KnownTable.model_fields:
        return f"[known.{table}]"
    return "[[rings]]" if table == "rings" else f"[{table}]"


_UNREAD = ("lines", "tied", "scan", "photo")
"""Tables of sources that are not read yet."""


_SECTIONS: dict[str, type[BaseModel]] = {
    "arch": ArchSection,
    "measure": MeasureSection,
    "rings": RingSection,
    "joints": JointsSection,
    "tolerance": ToleranceSection,
    "known": KnownTable,
    "span": KnownLength,
    "rise": KnownLength,
    "springing_y": KnownSection,
    "axis_x": KnownSection,
    "centring": CentringSection,
    "mortar": MortarSection,
    "view": ViewSection,
}

"""Documented local units of length an old arch may have been set out in, each with its source.

Old units drifted, and tables of the nineteenth century give the late value of a unit, so a search must leave
each some play (see :data:`survey.fitting.module.RULE_DRIFT_RATIO`).
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class HistoricUnit:
    """A local unit: name, length in mm, source, and whether the source's text was seen."""

    name: str
    length_mm: float
    source: str
    seen: bool = True


_ORDER_1852 = "Royal Order of 9 December 1852, table of equivalences (text seen)"
_HERDER = "Herder, Conversations-Lexikon, 1854, table of measures (text seen)"
_MURARIA = "Scuola d'Arte Muraria, list of old Italian measures (text seen)"
_ENCICLOPEDIA = "Enciclopedia Italiana, articles on local measures (text seen)"
_MEMORY = "value from memory"

DOCUMENTED_UNITS: tuple[HistoricUnit, ...] = (
    HistoricUnit("Castilian foot", 278.635, "a third of the vara of 0.8359 m, " + _ORDER_1852),
    HistoricUnit("Madrid foot", 843.0 / 3, "a third of the vara, " + _ORDER_1852),
    HistoricUnit("Toledo foot", 837.0 / 3, "a third of the vara, " + _ORDER_1852),
    HistoricUnit("Valencia foot", 906.0 / 3, "a third of the vara, " + _ORDER_1852),
    HistoricUnit("Alicante foot", 912.0 / 3, "a third of the vara, " + _ORDER_1852),
    HistoricUnit("Aragon foot", 772.0 / 3, "a third of the vara of Zaragoza, " + _ORDER_1852),
    HistoricUnit("Pamplona foot", 785.0 / 3, "a third of the vara, " + _ORDER_1852),
    HistoricUnit("Barcelona palm", 1555.0 / 8, "an eighth of the cana, " + _ORDER_1852),
    HistoricUnit("Mallorca palm", 782.0 / 4, "a quarter of the half-cana, " + _ORDER_1852),
    HistoricUnit("Paris foot", 324.839, _HERDER),
    HistoricUnit("Rhenish foot", 313.854, _HERDER),
    HistoricUnit("Vienna foot", 316.081, "Austrian law on measures, 1871 (text seen)"),
    HistoricUnit("Bavarian foot", 291.859, _HERDER),
    HistoricUnit("Hannover foot", 291.995, _HERDER),
    HistoricUnit("Dresden foot", 283.260, _HERDER),
    HistoricUnit("Württemberg foot", 286.490, _HERDER),
    HistoricUnit("Hessen-Kassel foot", 284.911, _HERDER),
    HistoricUnit("Nürnberg town foot", 303.793, _HERDER),
    HistoricUnit("Amsterdam foot", 283.056, _HERDER),
    HistoricUnit("Danish foot", 313.621, _HERDER),
    HistoricUnit("Swedish foot", 296.838, _HERDER),
    HistoricUnit("Ypres foot", 273.8, "table of Flemish measures (text seen)"),
    HistoricUnit("English foot", 304.8, "international definition of 1959 (text seen)"),
    HistoricUnit("Roman foot", 296.0, "metrological handbooks, 295.7 to 296.2 (text seen for 296)"),
    HistoricUnit("Venice foot", 347.735, _MURARIA),
    HistoricUnit("Vicenza foot", 357.394, _MURARIA),
    HistoricUnit("Verona foot", 342.195, _MURARIA),
    HistoricUnit("Bologna foot", 380.098, _MURARIA),
    HistoricUnit("Rome foot", 297.896, _MURARIA),
    HistoricUnit("Torino foot", 513.766, _MURARIA),
    HistoricUnit("Milan foot", 435.185, _MURARIA),
    HistoricUnit("Parma builder's arm", 545.167, _MURARIA),
    HistoricUnit("Florence arm", 583.6, _ENCICLOPEDIA),
    HistoricUnit("Milan arm", 594.9, _ENCICLOPEDIA),
    HistoricUnit("Naples palm", 264.0, _ENCICLOPEDIA),
    HistoricUnit("Sicilian palm", 258.0, _ENCICLOPEDIA),
    HistoricUnit("Genoa palm", 248.0, _ENCICLOPEDIA),
    HistoricUnit("Rome architect's palm", 223.4, _MEMORY, seen=False),
    HistoricUnit("metre, in fifths", 200.0, "round fifths of a metre: a modern arch, common practice"),
)
"""Feet, palms and arms likely in brick building; a vara enters by its third, a cana by its palm."""

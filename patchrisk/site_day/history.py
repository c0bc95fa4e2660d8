"""What is known of each disease on an area before this season: told, and recorded as seen."""

from collections.abc import Iterable
from datetime import date

import numpy as np

from patchrisk.base.units import DAY
from patchrisk.core.rules.seasons import season_spans, year_begins
from patchrisk.read.area import Area, HistoryEntry
from patchrisk.read.diseases import Disease, Library
from patchrisk.read.records.rows import Observation

_STRENGTH = ("none", "suspected", "seen", "laboratory")
_DAYS_IN_YEAR = 365.25


def history_of_area(
    library: Library,
    area: Area,
    observations: Iterable[Observation],
    as_of: date,
    *,
    southern: bool,
) -> dict[str, HistoryEntry]:
    """Bring together how each disease is known on an area.

    What is said of a disease by its own name comes before what is said of its group. Of several
    statements on one level the strongest is taken: laboratory, seen, suspected, none. A disease
    recorded as seen before this season began is *seen*, unless the site file says that there was
    none in a number of years and it was seen before those. A look in vain proves nothing.

    Parameters
    ----------
    library : Library
    area : Area
    observations : iterable of Observation
        Of every area; only this one's count.
    as_of : date
        The day judged; what was seen in the season it belongs to is no history yet.
    southern : bool
        Whether seasons are shifted by half a year.

    Returns
    -------
    dict of str to HistoryEntry
        By key of a disease, never of a group: a group's is given to each member that can be on
        the area's grasses. A disease that is not in it is *unknown*, which is not *none*.
    """
    by_group: dict[str, HistoryEntry] = {}
    by_name: dict[str, HistoryEntry] = {}
    for name, entry in area.history_known.items():
        key = library.find(name)
        level = by_group if key in library.groups else by_name
        for member in _members(library, area, key):
            level[member] = _stronger(level.get(member), entry)
    known = by_group | by_name
    for one in observations:
        if not one.seen or one.area != area.name:
            continue
        for member in _members(library, area, one.disease):
            if one.disease in library.groups and member in by_name:
                continue
            began = season_began(library.diseases[member], area, as_of, southern=southern)
            if one.day < began and not _older(one.day, known.get(member), as_of):
                known[member] = _stronger(known.get(member), HistoryEntry("seen"))
    return known


def to_prevent(library: Library, area: Area) -> frozenset[str]:
    """Return the keys of the diseases to protect against without history, groups by member."""
    return frozenset(
        member for name in area.prevent for member in _members(library, area, library.find(name))
    )


def season_began(disease: Disease, area: Area, as_of: date, *, southern: bool) -> np.datetime64:
    """Return the first day [datetime64[D]] of the infection season that a day belongs to.

    That is the latest start of the disease's seasons on the area's grasses; the damage of each
    belongs to it until the next one begins. Where its file names none, the year's first day:
    1 January, in the south 1 July.
    """
    day = np.datetime64(as_of, "D")
    began = []
    for season in disease.seasons(area.grasses):
        _, start, _ = season_spans(season.span.season, day, day, southern=southern)
        began.append(np.asarray(start[start <= day]).max())
    if not began:
        began.append(np.datetime64(year_begins(as_of, southern=southern), "D"))
    latest: np.datetime64 = max(began)
    return latest


def _members(library: Library, area: Area, key: str) -> tuple[str, ...]:
    if key not in library.groups:
        return (key,)
    return tuple(library.groups[key].members_on(library.diseases, area.grasses))


def _stronger(one: HistoryEntry | None, other: HistoryEntry) -> HistoryEntry:
    """Return the stronger of two; of two that say none, that of more years."""
    if one is None:
        return other
    return max(one, other, key=lambda known: (_STRENGTH.index(known.how), known.years or 0))


def _older(day: np.datetime64, entry: HistoryEntry | None, as_of: date) -> bool:
    """Whether a day lies before the years in which there was none."""
    if entry is None or entry.years is None:
        return False
    since = np.datetime64(as_of, "D") - int(entry.years * _DAYS_IN_YEAR) * DAY
    return bool(day < since)

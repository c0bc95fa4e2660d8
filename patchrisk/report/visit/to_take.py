"""Before a visit: how many plugs and from where, what to look at, how to pack, what to ask."""

from collections.abc import Iterator

from patchrisk.base.pen import Pen, capital, listed
from patchrisk.core.verdict.decision_table import RUNNING, Verdict
from patchrisk.report.layout import WIDE, wrap
from patchrisk.report.words import name_of
from patchrisk.site_day.morning import AreaMorning, Morning

_MOST = 3
_STEPS = {
    "PLUGS": (
        "A good, a middling and a bad place of the same turf: three places tell more than three "
        "plugs of one.",
        "From each, two plugs with the cup cutter, as deep as the roots go (at least 8 cm). In the "
        "bad place cut across the edge of the damage, two thirds failing and one third sound, and "
        "none from turf long dead (NC State and Kansas State extension, seen).",
        "Halve each plug: one half for the soil laboratory, one for the microscope. Keep the "
        "places apart.",
        "For nematodes, 20 or more narrow cores to 10 cm from the good and from the bad place "
        "(UMass extension, seen).",
        "Before any fungicide goes on.",
    ),
    "LOOK AT ON THE SPOT": (
        "How much of the turf is thin at each place, and in what shape; a photo of each, with a "
        "ruler.",
        "Wash the roots: length, colour, crowns firm or soft; a lens on dark threads along the "
        "roots.",
        "Drops of water on a dry core: seconds until they are gone. A black layer, and its smell.",
        "Shade, traffic, where water stands; when it was first seen, and what went on since.",
    ),
    "PACK": (
        "Wrap each plug in dry newspaper, no water added, leaves kept clean of soil; mark each "
        "packet outside. Keep them cool, and send them early in the week by the fastest post.",
        "Soil for the soil laboratory in clean bags, the same depth at every place, thatch off; "
        "cores for nematodes moist in a closed bag, never hot.",
    ),
    "ASK THE LABORATORY": (
        "Of the plugs: which fungus, by culture or DNA, in good and bad alike; runner hyphae, "
        "oospores, root tips. A positive alone proves nothing.",
        "Of the soil: conductivity, sodium, calcium and magnesium of the saturated paste; "
        "nutrients by one named extractant; pH with the mixture told; organic matter of the upper "
        "2 cm with the turf on.",
    ),
}


def write_to_take(morning: Morning) -> str:
    """Write what to take: what holds everywhere, then what the season makes likely in each area."""
    return "\n".join(_lines(morning))


def _lines(morning: Morning) -> Iterator[str]:
    pen = Pen(morning.site.site.units, morning.as_of.year)
    yield "WHAT TO TAKE"
    for title, texts in _STEPS.items():
        yield title
        for text in texts:
            yield from wrap(pen.prose(text), "  - ", "    ", WIDE)
    yield "LIKELY NOW, BY THE SEASON"
    places: dict[str, list[str]] = {}
    for area in morning.areas:
        for key in _likely(area):
            places.setdefault(key, []).append(area.area.name)
    if not places:
        yield "  - Nothing in particular."
    for key, areas in places.items():
        shows = morning.library.diseases[key].expression
        name = capital(name_of(morning.library, key))
        text = f"{name} ({listed(areas)}): {shows.look_for.text} {shows.samples.text}"
        yield from wrap(pen.prose(text), "  - ", "    ", WIDE)


def _likely(area: AreaMorning) -> Iterator[str]:
    """Yield the diseases that the season makes likely, the likeliest first."""
    rated = []
    for key, judged in area.judged.items():
        story = area.stories.get(key)
        shows = story is not None and story.shows(area.soil.dates[-1])
        score = 2 * shows + judged.scouting + (judged.phase in RUNNING)
        if score or judged.verdict >= Verdict.GET_READY:
            rated.append((-score, key))
    yield from (key for _, key in sorted(rated)[:_MOST])

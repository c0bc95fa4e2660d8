"""Mornings with a judgement of theirs changed."""

from dataclasses import replace


def changed(morning, area, key, **values):
    """The morning with values of one disease's judgement on one area changed."""

    def entry(one):
        if one.key != key:
            return one
        return replace(one, members=(replace(one.first, **values), *one.members[1:]))

    areas = tuple(
        replace(a, entries=tuple(map(entry, a.entries))) if a.area.name == area else a
        for a in morning.areas
    )
    return replace(morning, areas=areas)


def only(morning, area, key):
    """The morning with one disease of one area alone."""
    (mine,) = [a for a in morning.areas if a.area.name == area]
    entries = tuple(e for e in mine.entries if e.key == key)
    stories = {k: story for k, story in mine.stories.items() if k == key}
    return replace(morning, areas=(replace(mine, entries=entries, stories=stories),))

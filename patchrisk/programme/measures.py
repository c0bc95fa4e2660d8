"""Beyond the sprayer: what soil and upkeep call for against the area's diseases."""

from collections.abc import Sequence

from patchrisk.programme.given import Concern

_ORDER = ("irrigation and drainage", "soil pH", "manganese", "nitrogen form", "nitrogen")


def measures(concerns: Sequence[Concern]) -> tuple[str, ...]:
    """List what disease files say of soil and upkeep, one sentence for each thing.

    What several diseases say alike is said once. Findings of no effect are left out; disputed
    ones say so.
    """
    found: dict[tuple[str, str, str, str], list[str]] = {}
    for concern in concerns:
        for factor in concern.factors:
            if factor.effect == "none":
                continue
            doubt = " Sources differ." if factor.effect == "disputed" else ""
            weak = f", {factor.confidence}" if factor.confidence else ""
            key = (factor.factor, factor.text.rstrip(".") + ".", doubt, f"{factor.source}{weak}")
            found.setdefault(key, []).append(concern.name)
    rank = {name: n for n, name in enumerate(_ORDER)}
    out = []
    for (about, text, doubt, source), names in sorted(
        found.items(), key=lambda item: (rank.get(item[0][0], len(rank)), item[0])
    ):
        who = " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
        out.append(f"{about[:1].upper() + about[1:]} ({who}): {text}{doubt} ({source})")
    return tuple(out)

"""Beyond the sprayer: what soil and upkeep call for against the area's diseases."""

from collections.abc import Sequence

from patchrisk.programme.given import Concern

_ORDER = ("irrigation and drainage", "soil pH", "manganese", "nitrogen form", "nitrogen")


def measures(concerns: Sequence[Concern]) -> tuple[str, ...]:
    """List what disease files say of soil and upkeep, a line for each thing and disease.

    What several diseases say alike is said once. Findings of no effect are left out; disputed
    ones say so.
    """
    found: dict[str, dict[str, list[str]]] = {}
    for concern in concerns:
        for factor in concern.factors:
            if factor.effect == "none":
                continue
            doubt = "; sources differ" if factor.effect == "disputed" else ""
            says = f"{factor.text.rstrip('.')} ({factor.source}, {factor.confidence}{doubt})."
            found.setdefault(factor.factor, {}).setdefault(says, []).append(concern.name)
    rank = {name: n for n, name in enumerate(_ORDER)}
    out = []
    for about in sorted(found, key=lambda name: (rank.get(name, len(rank)), name)):
        by_disease: dict[tuple[str, ...], list[str]] = {}
        for says, names in found[about].items():
            by_disease.setdefault(tuple(dict.fromkeys(names)), []).append(says)
        for whose, parts in by_disease.items():
            who = " and ".join([", ".join(whose[:-1]), whose[-1]] if len(whose) > 1 else whose)
            out.append(f"{about[:1].upper() + about[1:]}, against {who}: {' '.join(parts)}")
    return tuple(out)

"""What people call a disease and its rules, in tables, findings and figures."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from patchrisk.diseases import Library
from patchrisk.report.words import rule_words
from patchrisk.units import System, shower

MEANINGS = {"infect": "infection", "treat": "time to treat", "express": "symptoms"}


@dataclass(frozen=True)
class Names:
    """Names of one disease, or group of diseases, and of its rules.

    Parameters
    ----------
    disease : str
        As in the middle of a sentence.
    rules : mapping of str to (str, str)
        By id: what each rule compares, and who published it.
    """

    disease: str
    rules: Mapping[str, tuple[str, str]]

    def rule(self, key: str) -> str:
        """Return the name of a rule; of one that the disease files no longer hold, its id."""
        return self.together([key])

    def alike(self, keys: Sequence[str]) -> str:
        """Return one short name for rules that say the same."""
        more = len(keys) - 1
        return self.rule(keys[0]) + (f", and {more} more" if more else "")

    def together(self, keys: Sequence[str]) -> str:
        """Name every rule of some that say the same, each wording once."""
        sources: dict[str, list[str]] = {}
        for key in keys:
            words, source = self.rules.get(key, (key, ""))
            sources.setdefault(words, []).append(source)
        return "; ".join(
            f"{words} [{'; '.join(by)}]" if any(by) else words for words, by in sources.items()
        )


def names_of(library: Library, key: str, system: System = "metric") -> Names:
    """Return the names of a disease or group, in the units asked for.

    Rules go by the words that the morning's reports have for them.
    """
    owner = library.diseases.get(key) or library.groups.get(key)
    if owner is None:
        return Names(key.replace("-", " "), {})
    show = shower(system)
    return Names(
        owner.name[0].lower() + owner.name[1:],
        {w.id: (rule_words(w, show), w.rule.source) for w in owner.window},
    )


def with_words(table: pd.DataFrame, names: Mapping[str, Names]) -> pd.DataFrame:
    """Put beside each id of a rule what it says.

    Parameters
    ----------
    table : DataFrame
        With ``disease`` and ``rule``, and ``other`` where two rules are compared; a table without
        ``rule`` is left as it is.
    names : mapping of str to Names
        By key of the disease.
    """
    for column in ("rule", "other"):
        if column in table:
            pairs = zip(table["disease"], table[column], strict=True)
            words = [names[disease].rule(rule) for disease, rule in pairs]
            place = table.columns.get_loc(column)
            assert isinstance(place, int)
            table = table.copy()
            table.insert(place + 1, f"{column}_words", words)
    return table

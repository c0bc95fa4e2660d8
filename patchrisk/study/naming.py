"""What people call a disease and its rules in tables, findings and figures; safe in Markdown."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from patchrisk.base.pen import Pen
from patchrisk.base.safe_text import visible
from patchrisk.base.units import System
from patchrisk.core.skill.cases import BASELINES
from patchrisk.read.diseases import Library
from patchrisk.report.words import rule_words
from patchrisk.study.tables import VERDICT_RULES, verdict_rule

_OWN = re.compile(r"#{1,3} |- |")  # what begins the lines that patchrisk writes itself
_MARKUP = re.compile(r"[\\`*<>|~$]|(?<![^\W_])_|_(?![^\W_])|&(?=[#\w]+;)|!(?=\[)|\](?=[(\[])")
_AT_START = re.compile(r"[#+=\[-]|\d+(?=[.)])")


def plain_line(text: str) -> str:
    """Write a text as one line that shows as it reads, after the heading or bullet it begins with.

    What hides or steers is written out too; see `patchrisk.base.safe_text`.
    """
    own = _OWN.match(text)
    assert own is not None
    rest = _MARKUP.sub(r"\\\g<0>", visible(text[own.end() :]))
    if start := _AT_START.match(rest):
        mark = start[0]
        rest = f"{mark}\\{rest[len(mark) :]}" if mark.isdigit() else f"\\{rest}"
    return own[0] + rest


def plain_cell(text: str) -> str:
    """Write a text as a cell of a table that shows as it reads."""
    return _MARKUP.sub(r"\\\g<0>", visible(text))


MEANINGS = {"infect": "infection", "treat": "time to treat", "express": "symptoms"}


@dataclass(frozen=True)
class DiseaseNames:
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
        return self.joined([key])

    def alike(self, keys: Sequence[str]) -> str:
        """Return one short name for rules that say the same."""
        more = len(keys) - 1
        return self.rule(keys[0]) + (f", and {more} more" if more else "")

    def joined(self, keys: Sequence[str]) -> str:
        """Name every rule of some that say the same, each wording once."""
        sources: dict[str, list[str]] = {}
        for key in keys:
            words, source = self.rules.get(key, (key, ""))
            sources.setdefault(words, []).append(source)
        return "; ".join(
            f"{words} [{'; '.join(by)}]" if any(by) else words for words, by in sources.items()
        )


def names_of(library: Library, key: str, system: System = "metric") -> DiseaseNames:
    """Return the names of a disease or group, in the units asked for.

    Rules go by the words that the morning's reports have for them.
    """
    owner = library.diseases.get(key) or library.groups.get(key)
    if owner is None:
        return DiseaseNames(key.replace("-", " "), {})
    show = Pen(system).show
    rules = {w.id: (rule_words(w, show), w.rule.source) for w in owner.window}
    rules |= {key: (words, "no soil") for key, words in BASELINES.items()}
    if key in library.diseases:
        ids = [season.id for season in library.diseases[key].season]
        for column, words in VERDICT_RULES.items():
            rules |= {verdict_rule(column, one): (f"{words}, {one}", "the verdict") for one in ids}
    return DiseaseNames(owner.name[0].lower() + owner.name[1:], rules)


def with_words(table: pd.DataFrame, names: Mapping[str, DiseaseNames]) -> pd.DataFrame:
    """Put beside each id of a rule what it says.

    Parameters
    ----------
    table : DataFrame
        With ``disease`` and ``rule``, and ``other`` where two rules are compared; a table without
        ``rule`` is left as it is.
    names : mapping of str to DiseaseNames
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

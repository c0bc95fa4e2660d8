"""A group of diseases that a laboratory has not told apart."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from patchrisk.diseases.models import Disease, SiteFactor
from patchrisk.diseases.quantities import Rows, Source, Statement, Table, Text, Water
from patchrisk.windows import Meaning, Rule


@dataclass(frozen=True)
class GroupRule:
    """A rule and the key of the disease whose rule it is."""

    member: str
    rule: Rule


class DiseaseGroup(Table):
    """Diseases by the same kind of fungus, and what holds for all of them."""

    name: Text
    also: Rows[Text] = ()
    in_short: Text
    members: Annotated[Rows[Text], Field(min_length=1)]
    sources: dict[str, Source]
    common: Rows[Statement] = ()
    samples: Statement
    watering_in: Water | None = None
    site: Rows[SiteFactor] = ()

    def members_on(
        self, diseases: Mapping[str, Disease], grass: str | None = None
    ) -> dict[str, Disease]:
        """Return the members by key; only those that the grass is a host of, when one is named."""
        return {
            key: diseases[key] for key in self.members if grass is None or diseases[key].on(grass)
        }

    def rules(
        self,
        diseases: Mapping[str, Disease],
        grass: str | None = None,
        meaning: Meaning | None = None,
    ) -> tuple[GroupRule, ...]:
        """Return the rules of every member that can be on the grass, each labelled by member."""
        return tuple(
            GroupRule(key, rule)
            for key, disease in self.members_on(diseases, grass).items()
            for rule in disease.rules(meaning)
        )

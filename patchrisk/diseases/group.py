"""A group of diseases that a laboratory has not told apart."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from pydantic import AfterValidator

from patchrisk.diseases.models import Disease, Dispute, SiteFactor
from patchrisk.diseases.quantities import Rows, SomeRows, Source, Statement, Table, Text, Water
from patchrisk.diseases.rules import PublishedRule, distinct
from patchrisk.windows import Rule


@dataclass(frozen=True)
class GroupRule:
    """A rule, and the key of the disease or group that it was published for."""

    member: str
    rule: Rule


class DiseaseGroup(Table):
    """Diseases by the same kind of fungus, and what holds for all of them."""

    name: Text
    also: Rows[Text] = ()
    in_short: Text
    members: SomeRows[Text]
    sources: dict[str, Source]
    common: Rows[Statement] = ()
    window: Annotated[Rows[PublishedRule], AfterValidator(distinct)] = ()
    look_for: Statement | None = None
    samples: Statement
    watering_in: Water | None = None
    site: Rows[SiteFactor] = ()
    dispute: Rows[Dispute] = ()

    def members_on(
        self, diseases: Mapping[str, Disease], grass: str | None = None
    ) -> dict[str, Disease]:
        """Return the members by key; only those that the grass is a host of, when one is named."""
        return {
            key: diseases[key] for key in self.members if grass is None or diseases[key].on(grass)
        }

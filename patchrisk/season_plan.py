"""The programme of applications of a whole site, from its morning and what the user keeps."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from patchrisk.diseases import Library
from patchrisk.programme.cover import Cover
from patchrisk.programme.plan import AreaPlan
from patchrisk.site import Site


@dataclass(frozen=True)
class SitePlan:
    """The programme of every area, and what reports need to write it.

    Parameters
    ----------
    site : Site
    library : Library
    as_of : date
        The morning it was made.
    areas : tuple of AreaPlan
        In the order of the site file.
    cover : mapping of str to mapping of str to Cover
        By area and disease, what applications that went on still protect.
    notices : tuple of str
        What a reader must know about the records or the shelf, one sentence each.
    """

    site: Site
    library: Library
    as_of: date
    areas: tuple[AreaPlan, ...]
    cover: Mapping[str, Mapping[str, Cover]] = field(default_factory=dict)
    notices: tuple[str, ...] = ()

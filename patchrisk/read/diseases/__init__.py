"""The disease files: published rules, responses and advice, each number with its provenance."""

from patchrisk.read.diseases.library import (
    DiseaseGroup,
    GroupRule,
    Library,
    load_diseases,
    load_library,
    read_rules,
)
from patchrisk.read.diseases.models import Disease
from patchrisk.read.diseases.quantities import Number, Source

__all__ = [
    "Disease",
    "DiseaseGroup",
    "GroupRule",
    "Library",
    "Number",
    "Source",
    "load_diseases",
    "load_library",
    "read_rules",
]

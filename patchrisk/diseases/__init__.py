"""The disease files: published rules, responses and advice, each number with its provenance."""

from patchrisk.diseases.group import DiseaseGroup, GroupRule
from patchrisk.diseases.load import Library, load_diseases, load_library
from patchrisk.diseases.models import Disease
from patchrisk.diseases.quantities import Number, Source

__all__ = [
    "Disease",
    "DiseaseGroup",
    "GroupRule",
    "Library",
    "Number",
    "Source",
    "load_diseases",
    "load_library",
]

"""Applications on record as crop-protection operations of the ADAPT Standard, version 2.0.2.

The names of things are those of the standard's root schema and data type definitions
(adaptstandard.org); the values are the user's own, in the units of those definitions.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime, time, timedelta
from typing import Any
from uuid import UUID, uuid5

import numpy as np

from patchrisk.base.pen import as_date
from patchrisk.core.plan.cover import Applied
from patchrisk.read.records.applications import measure
from patchrisk.read.records.rows import clock
from patchrisk.read.shelf import Shelf
from patchrisk.read.site import Site
from patchrisk.report.words import codes_words

VERSION = "2.0.2"
_NAMES = UUID("b7a3f1de-4a0c-5c55-9a0e-3f5f6a2e9c11")  # of what is identified; drawn once, kept
_LITRES_A_MM = 1e4  # on a hectare
_WATER = "Water"

Record = dict[str, Any]


def adapt_operations(site: Site, shelf: Shelf, applied: Sequence[Applied]) -> Record:
    """Return applications, in order of day, as a dataset of the standard, to be written as JSON.

    There is one work record for each of them; what a record does not tell is left out.
    """
    place = site.site.name
    used = {done.area for done in applied}
    people = dict.fromkeys(filter(None, (e.cells.get("applicator", "") for e in applied)))
    watered = any(e.water_mm > 0 or e.cells.get("carrier") for e in applied)
    products = [_product(site, shelf, applied, name) for name in _product_names(applied)]
    if watered:
        products.append(
            {**_named(_WATER, "product"), "productTypeCode": "WATER", "productFormCode": "LIQUID"}
        )
    return {
        "rootSchemaVersion": VERSION,
        "dataTypeDefinitionVersion": VERSION,
        "catalog": {
            "description": "Written by patchrisk from the records kept by the site.",
            "growers": [_named(place, "grower")],
            "farms": [{**_named(place, "farm"), "growerId": _id("grower", place)}],
            "fields": [
                _without_none(
                    {
                        **_named(area.name, "field"),
                        "farmId": _id("farm", place),
                        "description": area.turf_words or None,
                        "arableArea": None
                        if area.size_m2 is None
                        else {
                            "numericValue": round(area.size_m2 / 1e4, 6),
                            "unitOfMeasureCode": "ha",
                        },
                    }
                )
                for area in site.area
                if area.name in used
            ],
            "parties": [{**_named(one, "party"), "partyTypeCode": "INDIVIDUAL"} for one in people],
            "products": products,
        },
        "documents": {
            "workRecords": [_work_record(site, done, n) for n, done in enumerate(applied, 1)]
        },
    }


def _named(name: str, kind: str) -> Record:
    return {"id": {"referenceId": _id(kind, name)}, "name": name}


def _id(kind: str, *parts: object) -> str:
    return str(uuid5(_NAMES, "\n".join([kind, *map(str, parts)])))


def _without_none(record: Mapping[str, Any]) -> Record:
    return {key: value for key, value in record.items() if value is not None}


def _label(applied: Applied) -> str:
    return applied.product or codes_words(applied.codes) or ", ".join(applied.actives)


def _product_names(applied: Sequence[Applied]) -> list[str]:
    return list(dict.fromkeys(_label(done) for done in applied))


def _product(site: Site, shelf: Shelf, applied: Sequence[Applied], name: str) -> Record:
    mine = [done for done in applied if _label(done) == name]
    kinds = {found[0] for e in mine if (found := measure(e.cells, "amount")) is not None}
    form = {"product mass": "SOLID", "product volume": "LIQUID"}
    number = next((e.cells["registration"] for e in mine if e.cells.get("registration")), "")
    us = (site.site.country or "") == "US"
    held = shelf.find(name)
    actives = mine[0].actives if held is None else held.actives
    return _without_none(
        {
            **_named(name, "product"),
            "description": f"Active ingredients: {', '.join(actives)}" if actives else None,
            "productTypeCode": "FUNGICIDE",
            "productFormCode": form[kinds.pop()] if len(kinds) == 1 else "UNKNOWN",
            "contextItems": [{"definitionCode": "US-EPA-RegistrationNumber", "valueText": number}]
            if us and number
            else None,
        }
    )


def _work_record(site: Site, done: Applied, n: int) -> Record:
    cells = done.cells
    name = f"{done.day} {done.area}{f' ({done.spot})' if done.spot else ''}: {_label(done)}"
    key = (done.day, done.area, done.spot, _label(done), n)
    area = measure(cells, "treated")
    size = None
    if area is not None:
        size = [{"definitionCode": "AppliedArea", "valueText": f"{area[1] / 1e4:.6g}"}]
    person = cells.get("applicator", "")
    operation = _without_none(
        {
            "id": {"referenceId": _id("operation", *key)},
            "name": name,
            "operationTypeCode": "APPLICATION_CROP_PROTECTION",
            "contextItems": size,
            "productIds": [_id("product", _label(done))],
            "timeScopes": [_when(site, done)],
            "partyRoles": [{"roleCode": "OPERATOR", "partyId": _id("party", person)}]
            if person
            else None,
            "notes": list(_notes(done)) or None,
            **_values(key, list(_measures(done))),
        }
    )
    operations = [operation]
    if done.water_mm > 0:
        rate = (("AppliedVolumePerAreaActual", done.water_mm * _LITRES_A_MM, _WATER),)
        operations.append(
            {
                "id": {"referenceId": _id("watering", *key)},
                "name": f"{done.day} {done.area}: watering in",
                "operationTypeCode": "APPLICATION_IRRIGATION",
                "productIds": [_id("product", _WATER)],
                **_values(("watering", *key), rate),
            }
        )
    return {
        "id": {"referenceId": _id("work", *key)},
        "name": name,
        "fieldId": _id("field", done.area),
        "operations": operations,
    }


def _measures(done: Applied) -> Iterator[tuple[str, float, str]]:
    """Yield the measures of an application: definition, value in its unit, product or nothing."""
    cells, name = done.cells, _label(done)
    amount = measure(cells, "amount")
    if amount is not None:
        total = "AppliedTotalMass" if amount[0] == "product mass" else "AppliedTotalVolume"
        yield total, amount[1], name
    rate = measure(cells, "rate")
    if rate is not None:
        per = "Mass" if rate[0] == "rate by mass" else "Volume"
        yield f"Applied{per}PerAreaActual", rate[1], name
    carrier = measure(cells, "carrier")
    if carrier is not None:
        yield "AppliedTotalVolume", carrier[1], _WATER
    for column, code in (("wind", "WindSpeed"), ("air", "AirTemperature")):
        found = measure(cells, column)
        if found is not None:
            yield code, found[1], ""


def _values(key: Sequence[object], measures: Sequence[tuple[str, float, str]]) -> Record:
    if not measures:
        return {}
    variables, values = [], []
    for n, (code, value, product) in enumerate(measures):
        reference = _id("variable", *key, n)
        variable = {"id": {"referenceId": reference}, "name": code, "definitionCode": code}
        variables.append(variable | ({"productId": _id("product", product)} if product else {}))
        values.append({"variableId": reference, "valueText": f"{value:.6g}"})
    return {"variables": variables, "summaryValues": values}


def _when(site: Site, done: Applied) -> Record:
    """Return the time it took in UTC; the whole day, by standard time, where none is told."""
    zone = site.site.zone
    day = as_date(done.day)
    start, end = (clock(done.cells.get(column, "")) for column in ("start", "end"))
    first = datetime.combine(day, start or time(), zone)
    last = datetime.combine(day, end or time(), zone)
    if end is None or last < first:
        last = first.replace(hour=0, minute=0) + timedelta(days=1)
    return {
        "dateContextCode": "ACTUAL",
        "start": _utc(first),
        "end": _utc(last),
    }


def _utc(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _notes(done: Applied) -> Iterator[str]:
    cells = done.cells
    if not (cells.get("start") and cells.get("end")):
        yield "Not all times of day are on record: the time scope is that of the day."
    if cells.get("start") or cells.get("end"):
        yield "Times of day as written, taken as local standard time."
    if done.codes:
        yield f"Mode of action: {codes_words(done.codes)}."
    aims = (*done.targets, *done.others)
    if aims:
        yield f"Against: {', '.join(aims)}"
    for column, words in (
        ("licence", "Licence of the applicator"),
        ("registration", "Registration number"),
        ("re_entry", "Re-entry"),
        ("watered", "Watered in at"),
        ("note", "Note"),
    ):
        if cells.get(column):
            yield f"{words}: {cells[column]}"
    if np.isnan(done.water_mm):
        yield "Water after it is not on record."

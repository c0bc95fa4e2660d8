"""The questions of ``patchrisk init``: each answer is checked before the next is asked."""

import re
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any, TypeVar, get_args

import click

from patchrisk.base.errors import InputError
from patchrisk.cli.options import echo
from patchrisk.report.layout import wrap

if TYPE_CHECKING:
    from pydantic import BaseModel

    from patchrisk.read.area import Area
    from patchrisk.read.diseases import Disease, Library

_T = TypeVar("_T")

UNKNOWN = "?"
NO_MORE = "-"
_COMMA = re.compile(r"\s*[,;+]\s*")


def ask(
    question: str,
    read: Callable[[str], _T],
    default: str | None = None,
    *,
    show_default: bool = True,
) -> _T:
    """Ask until the answer can be read; what is wrong with one is said, and it is asked again."""
    from patchrisk.base.toml_files import said

    def checked(text: str) -> _T:
        try:
            return read(text.replace('"', "").strip())
        except InputError as error:
            fault = error.faults[0]
            raise click.UsageError(f"{fault.found}: {fault.cure}") from None
        except ValueError as error:
            raise click.UsageError(f"{': '.join(said(error))}") from None

    answer: _T = click.prompt(
        question, default=default, show_default=show_default, value_proc=checked
    )
    return answer


def choose(
    question: str,
    choices: Sequence[str],
    default: str | None = None,
    *,
    several: bool = False,
    other: Callable[[str], Any] | None = None,
) -> Any:
    """List what there is to choose from, and ask for a number or a name of it.

    ``several``: several may be named, or ``all``; a list is returned. ``other``: reads what is none
    of the list; without it that is refused.
    """
    echo("\n".join(wrap(_listed(choices), "  ", "    ")))
    known = {choice.casefold(): choice for choice in choices}

    def one(text: str) -> Any:
        if text.isdecimal():
            return choices[_place_in(text, len(choices))]
        if text.casefold() in known or other is None:
            return _known(text, known)
        return other(text)

    def some(text: str) -> list[Any]:
        if text.casefold() == "all":
            return list(choices)
        return list(dict.fromkeys(one(part) for part in filter(None, _COMMA.split(text))))

    return ask(question, some if several else one, default)


def _listed(choices: Sequence[str]) -> str:
    return ", ".join(f"{n} {choice}" for n, choice in enumerate(choices, 1))


def _place_in(text: str, count: int) -> int:
    if not 1 <= int(text) <= count:
        raise ValueError(f"there is no number {text}", f"write 1 to {count}")
    return int(text) - 1


def _known(text: str, known: Mapping[str, str]) -> str:
    if text.casefold() not in known:
        raise ValueError(
            f"{text!r} is not in the list", f"write one of {', '.join(known.values())}"
        )
    return known[text.casefold()]


def field(
    model: "type[BaseModel]", others: Mapping[str, Any], key: str, kind: type = str
) -> Callable[[str], Any]:
    """Return a reader of one key of the site file, as strict as the file's own."""
    from patchrisk.base.toml_files import validate
    from patchrisk.read.site import CURES

    def read(text: str) -> Any:
        try:
            value = kind(text)
        except ValueError:
            raise ValueError(f"{text!r} is no number", CURES[key]) from None
        validate(model, {**others, key: value}, "init", CURES)
        return value

    return read


def ask_area(library: "Library", taken: list[str], name: str | None = None) -> dict[str, Any]:
    """Ask what an area is: name, grass or grasses, use and root zone."""
    from patchrisk.read.area import Area, RootZone, Use

    name = name or ask("Name of an area", lambda text: _new_name(text, taken), "Greens")
    turf = _ask_turf(library, name)
    use, zone = (
        choose(f"{what} of {name}", get_args(of), usual, other=field(Area, {}, key))
        for what, key, of, usual in (
            ("Use", "use", Use, "green"),
            ("Root zone", "root_zone", RootZone, "sand green"),
        )
    )
    return {"name": name, "turf": turf, "use": use, "root_zone": zone}


def _new_name(text: str, taken: list[str]) -> str:
    from patchrisk.read.area import Area

    if text.casefold() in map(str.casefold, taken):
        raise ValueError(f"there is an area {text!r} already", "give it another name")
    return str(field(Area, {}, "name")(text))


def _ask_turf(library: "Library", name: str) -> str | list[str]:
    """Ask for the grass; one that no disease file knows must be meant."""
    echo("\n".join(wrap(f"Grasses that are known: {_listed(library.grasses)}.", "", "  ")))
    question = f"Grass of {name} (number or name; a mixture: with commas)"
    while True:
        turf = ask(question, lambda text: _grasses_of(text, library), "creeping bentgrass")
        strange = [g for g in ([turf] if isinstance(turf, str) else turf) if not library.knows(g)]
        warning = f"No disease file knows {' and '.join(strange)}: nothing is judged by it. Keep it"
        if not strange or click.confirm(warning, default=False):
            return turf


def ask_another(library: "Library", taken: list[str]) -> dict[str, Any] | None:
    """Ask for one area more; None when there is none."""
    question = f"Another area: its name ({NO_MORE} for none)"
    name = ask(question, lambda text: _new_name(text, taken), NO_MORE)
    return None if name.casefold() in (NO_MORE, "none", "no") else ask_area(library, taken, name)


def _grasses_of(text: str, library: "Library") -> str | list[str]:
    """Read grasses by number in the list or by name."""
    parts = _COMMA.split(text)
    if not any(part.isdecimal() for part in parts):
        return read_grasses(text, library)
    known = library.grasses
    named = (known[_place_in(p, len(known))] if p.isdecimal() else p for p in parts)
    return read_grasses(", ".join(named), library)


def read_grasses(text: str, library: "Library") -> str | list[str]:
    """Read a grass, or those of a mixture; ValueError where one is nearly a known name."""
    from patchrisk.read.area import read_turf
    from patchrisk.read.diseases.library import split_grasses

    turf = read_turf(split_grasses(text))
    names = [turf] if isinstance(turf, str) else list(turf or ())
    for name in names:
        slip = library.slip_in_grass(name)
        if slip is not None:
            raise ValueError(*slip)
    return names[0] if len(names) == 1 else names


def ask_stakes(library: "Library", area: "Area", today: date) -> dict[str, Any]:
    """Ask for the history of an area, and for its age where that matters to a disease."""
    possible = {
        key: disease
        for key, disease in library.diseases.items()
        if disease.susceptibility(area.grasses, area.use) is not None
    }
    if not possible:
        return {}
    answers: dict[str, Any] = {}
    history = _ask_history(library, area, possible)
    if history:
        answers["history"] = history
    if any(_age_matters(disease, area) for disease in possible.values()):
        question = f"When was {area.name} sown (2019 or 2019-09; {UNKNOWN}: I don't know)"
        sown = ask(question, lambda text: _sown(text, today), UNKNOWN)
        if sown is not None:
            answers["sown"] = sown
    return answers


def _ask_history(
    library: "Library", area: "Area", possible: "Mapping[str, Disease]"
) -> dict[str, str]:
    from patchrisk.read.area import HistoryEntry, read_history_entry

    names = [disease.name for disease in possible.values()]
    echo(f"Root diseases that can come on {area.name}:")
    for n, name in enumerate(names, 1):
        echo(f"  {n} {name}")
    named = ask(
        "Which were found there, seen or suspected, this year or before? (numbers or names with "
        f"commas; none; {UNKNOWN}: I don't know)",
        lambda text: _named(text, library, area, names),
        UNKNOWN,
    )
    if named is None:
        years = ask(
            "None in how many years (1 to 99)",
            lambda text: read_history_entry(f"none in {text} years"),
        )
        return {name: str(years) for name in names}

    def how(text: str) -> HistoryEntry | None:
        return None if text == UNKNOWN else read_history_entry(text)

    question = f"(laboratory, seen, suspected, none in N years; {UNKNOWN}: I don't know)"
    told = {name: ask(f"How is {name} known {question}", how, "seen") for name in named}
    return {name: str(known) for name, known in told.items() if known is not None}


def _named(text: str, library: "Library", area: "Area", names: list[str]) -> list[str] | None:
    """Read which diseases are meant, by number or name; None when it says that there were none."""
    if text == UNKNOWN:
        return []
    if text.casefold() == "none":
        return None
    out: list[str] = []
    for part in filter(None, _COMMA.split(text)):
        if part.isdecimal():
            out.append(names[_place_in(part, len(names))])
            continue
        key = library.find(part)
        item = library.diseases.get(key) or library.groups[key]
        group = library.groups.get(key)
        here = item.name in names
        if not (here if group is None else group.members_on(library.diseases, area.grasses)):
            raise ValueError(f"{item.name} is not known on this grass", "write one of the list")
        out.append(item.name)
    return list(dict.fromkeys(out))


def _sown(text: str, today: date) -> str | None:
    from patchrisk.read.area import Area, read_sown

    sown = None if text == UNKNOWN else read_sown(text)
    Area(sown=sown).age_years(today)
    return sown


def _age_matters(disease: "Disease", area: "Area") -> bool:
    risk = disease.risk_age
    by_age = any(factor.factor == "stand age" for factor in disease.site)
    return by_age or (risk is not None and disease.named(risk.grass, area.grasses))

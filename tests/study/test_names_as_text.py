"""Names of sites in figures, captions and findings are text, whatever they look like."""

import warnings

import pytest

from patchrisk.study.findings import plain_line
from patchrisk.study.run import backtest
from patchrisk.study.study import write_study

EVIL = "$\\frac$ *x* <b> [a](b) \u202e\ufeff\x1b[2J\nnext =1+1"


def test_a_sites_name_is_text_in_figures_and_captions(table, tmp_path):
    done = backtest(table, diseases=["dead spot"], soil="modelled")
    seasons = done.seasons.replace({"site": {"upland": EVIL, "valley": "v" * 300}})
    with warnings.catch_warnings():
        warnings.simplefilter("error", UserWarning)
        paths = write_study(tmp_path / "study", seasons)
    assert {p.suffix for p in paths if p.parent.name == "figures"} == {".pdf", ".png", ".md"}
    for name in ("findings.md", "figures/captions.md"):
        said = (tmp_path / "study" / name).read_text(encoding="utf-8")
        assert "$\\frac$" not in said.replace("\\$\\\\frac\\$", "")
        assert "](b)" not in said.replace("\\](b)", "")
        assert not {"\x1b", "\u202e", "\ufeff"} & set(said)
        assert not any(line.startswith("next") for line in said.splitlines())
    assert "\\$\\\\frac\\$ \\*x\\* \\<b\\>" in said


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("# Findings", "# Findings"),
        ("- # evil", "- \\# evil"),
        ("- 1. evil", "- 1\\. evil"),
        ("- [x]: http://evil", "- \\[x]: http://evil"),
        ("![i](u) &lt; a&b", "\\![i\\](u) \\&lt; a&b"),
        (
            "a_b __x__ _y_ ~~z~~ `c` <i> $m$",
            "a_b \\_\\_x\\_\\_ \\_y\\_ \\~\\~z\\~\\~ \\`c\\` \\<i\\> \\$m\\$",
        ),
        ("a\nb\u202e", "a\\\\nb\\\\u202e"),
        ("", ""),
    ],
)
def test_a_line_of_markdown_reads_as_it_was_written(text, written):
    assert plain_line(text) == written

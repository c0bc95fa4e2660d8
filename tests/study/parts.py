"""How the invented sites are cut into parts."""


def part_small(monkeypatch):
    """Make each site a part of its own."""
    monkeypatch.setattr("patchrisk.study.sources._LEAST_SITE_DAYS", 1000)
    monkeypatch.setattr("patchrisk.study.sources._FEWEST_PARTS", 10**6)

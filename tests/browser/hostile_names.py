"""Names that would run, break out of an attribute, turn the line around, or have no glyph."""

SITE = "<script>window.hacked=1</script> \"Quill\" & 'Fen' ‮evil‬ ⛳"
AREAS = {
    "Greens": 'A"><img src=x onerror=window.hacked=1> 🏌️‍♂️',
    "Fairways": "ملعب הגולף 'quoted' {{ 7*7 }}",
    "Lawns": "Lawns</title></style></script><svg onload=window.hacked=1> " + "long" * 5,
}

"""job.html: job sheet and dry run in one file that needs nothing else."""

from base64 import b64encode
from hashlib import sha256
from html import escape
from typing import Final

from icecam.viewer.bundle import markup, script, style
from icecam.viewer.embed import CHARSET, embedded, in_plain_letters

FILE_NAME: Final = "job.html"


def job_page(sheet: str, sheet_style: str, title: str, data: bytes) -> bytes:
    """Return the page.

    Parameters
    ----------
    sheet : HTML that stands above the dry run, its texts escaped; may be empty
    sheet_style : its style sheet
    title : plain text
    data : what `icecam.viewer.data.dry_run` gives

    Notes
    -----
    The policy in the head lets the page run the one script below and load nothing at all, so that
    a text from a file that slipped through as a script would not run.

    Raises
    ------
    ValueError : a style sheet that would end its own element, or holds letters beyond ASCII
    """
    styles = f"{style()}\n{sheet_style}"
    if "</" in styles or not styles.isascii():
        raise ValueError("a style sheet holds </, which would end it, or a letter beyond ASCII")
    code = f"\n{script()}"
    allowed = b64encode(sha256(code.encode()).digest()).decode()
    policy = (
        f"default-src 'none'; script-src 'sha256-{allowed}'; style-src 'unsafe-inline'; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    )
    before = f"""<!doctype html>
<html lang="en">
<head>
<meta charset="{CHARSET}">
<meta http-equiv="Content-Security-Policy" content="{policy}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{escape(title)}</title>
<style>
{styles}
</style>
</head>
<body>
{sheet}
<main>
{markup()}
</main>
<script type="application/octet-stream" id="dry-run-data">"""
    after = f"""</script>
<script type="module">{code}</script>
</body>
</html>
"""
    return in_plain_letters(before) + embedded(data) + after.encode("ascii")

"""A command, run as from the command line."""

from __future__ import annotations

from hydrantgis.cli import app


def run(capsys, *words):
    """Exit code, and what was said on both streams."""
    try:
        app.main([str(word) for word in words])
        code = 0
    except SystemExit as end:
        code = int(end.code or 0)
    return code, *capsys.readouterr()

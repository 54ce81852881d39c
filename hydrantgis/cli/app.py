"""
The command line: which commands there are, and what a failure looks like.
"""

from __future__ import annotations

import sys
import traceback

import typer

from hydrantgis.cli import (
    bring,
    foretell,
    judge,
    mapping,
    planning,
    reporting,
    sheeting,
    standing,
    surveying,
)  # fmt: skip
from hydrantgis.cli.talk import put_error, speak_utf8
from hydrantgis.ground.errors import HydrantGISError, UnreadableError, WordsError

FAILED, WRONG_WORDS, UNREADABLE = 1, 2, 4

app = typer.Typer(
    name="hydrantgis",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="""Keep a water utility's fire hydrants at the right height.

    \b
    hydrantgis demo                                   the whole job on an invented district
    hydrantgis inspect hydrants.gpkg                  what is in a layer
    hydrantgis import hydrants.gpkg                   hydrants into register.gpkg
    hydrantgis survey readings.csv                    measured heights into it
    hydrantgis check --rule nfpa24-2019 --kits generic    who is out, and what each needs

    \b
    Exit codes: 0 done; 1 failed; 2 wrong words; 3 done, and --strict found errors in the data;
    4 a file is locked or unreadable. A hydrant out of its window is a result, not a failure.
    """,
)


@app.callback(invoke_without_command=True)
def _whole(
    version: bool = typer.Option(False, "--version", help="Tell the version and end."),
    debug: bool = typer.Option(  # noqa: ARG001 - `main` looks for it before anything can fail
        False, "--debug", help="Show where in the code a failure arose."
    ),
) -> None:
    if version:
        from hydrantgis import __version__

        typer.echo(__version__)
        raise typer.Exit


app.command("demo")(judge.demo)
app.command("inspect")(bring.inspect)
app.command("import")(bring.import_layer)
app.command("survey")(surveying.survey)
app.command("check")(judge.check)
app.command("scenario")(foretell.scenario)
app.command("plan")(planning.plan)
app.command("map")(mapping.map_hydrants)
app.command("sheets")(sheeting.sheets)
app.command("report")(reporting.report)
app.add_typer(standing.rules, name="rules")
app.add_typer(standing.kits, name="kits")


def exit_code(error: HydrantGISError) -> int:
    """
    The exit code that an error has.

    Examples
    --------
    >>> exit_code(WordsError("no")), exit_code(UnreadableError("no"))
    (2, 4)
    """
    if isinstance(error, WordsError):
        return WRONG_WORDS
    return UNREADABLE if isinstance(error, UnreadableError) else FAILED


def main(words: list[str] | None = None) -> None:
    """
    Run the command line and end the process with its exit code.

    Parameters
    ----------
    words
        What was typed; that of the process where it is None.
    """
    told = sys.argv[1:] if words is None else words
    debug = "--debug" in told
    speak_utf8()
    try:
        app(args=told, standalone_mode=True)
    except HydrantGISError as error:
        if debug:
            traceback.print_exc()
        put_error(f"hydrantgis: {error}")
        sys.exit(exit_code(error))
    except OSError as error:
        if debug:
            traceback.print_exc()
        put_error(
            f"hydrantgis: {error.strerror}\n  where:    {error.filename}\n"
            "  to do:    check the path, and that you may read and write there"
        )
        sys.exit(UNREADABLE)
    except Exception as error:
        if debug:
            traceback.print_exc()
        put_error(
            f"hydrantgis: a fault in the program: {type(error).__name__}: {error}\n"
            "  to do:    run it again with `hydrantgis --debug ...` and report what it shows"
        )
        sys.exit(FAILED)


if __name__ == "__main__":
    main()

"""
The way to a PostgreSQL database: an address that may hold a password, a connection that reads.

The address is libpq's, `postgresql://user@host/database`, and so are the ways to keep a password
out of it: PGPASSWORD, a password file, a service. No password stands in what this module tells.
"""

from __future__ import annotations

import re
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from hydrantgis.ground.errors import UnreadableError, WordsError

if TYPE_CHECKING:
    from collections.abc import Iterator

    import psycopg

CONNECT_SECONDS = 10
"""The longest to wait for a server, where the address does not say another."""

SCHEME = re.compile(r"postgres(?:ql)?://", re.IGNORECASE)
# An @ that belongs to a password and is not written %40 would end up in the name of the host.
_ONE_AT = re.compile(r"[^@/]*@[^@]*|[^@]*")
# The writing of a value must not hang on the settings of a role, or its digest would.
# Only the time zone stays as the database has it: it tells the day of a moment.
_SETTINGS = """
    SELECT set_config('DateStyle', 'ISO', true), set_config('IntervalStyle', 'postgres', true),
           set_config('extra_float_digits', '1', true), set_config('bytea_output', 'hex', true),
           CASE WHEN current_setting('statement_timeout') = '0'
                THEN set_config('statement_timeout', {}, true) END,
           CASE WHEN current_setting('lock_timeout') = '0'
                THEN set_config('lock_timeout', '30s', true) END
"""


class Address(str):
    """A connection string, which may hold a password; it does not show itself."""

    __slots__ = ()

    def __repr__(self) -> str:
        return "'postgresql://…'"


def _reason(error: psycopg.Error) -> str:
    return error.diag.message_primary or " ".join(str(error).split())


@contextmanager
def telling(where: str) -> Iterator[None]:
    """What the database refuses, as errors of this package."""
    import psycopg

    try:
        yield
    except psycopg.errors.InsufficientPrivilege as error:
        raise UnreadableError(
            "this user may not read it", where=where, found=_reason(error),
            do="ask the keeper of the database for SELECT on it",
        ) from error  # fmt: skip
    except psycopg.Error as error:
        raise UnreadableError(
            "the database broke off", where=where, found=_reason(error)
        ) from error


def _parameters(address: str) -> dict[str, Any]:
    """
    What an address says, or an error that repeats none of it: it may hold a password.

    Host and port are told in errors later; so what would let a password slip into them is refused.
    """
    import psycopg
    from psycopg.conninfo import conninfo_to_dict

    rest = SCHEME.sub("", address, count=1)
    try:
        parameters = conninfo_to_dict("postgresql://" + rest)
    except psycopg.ProgrammingError:
        parameters = {"port": "unknown"}
    ports = str(parameters.get("port") or "").replace(",", "")
    if not re.fullmatch(r"\d*", ports) or not _ONE_AT.fullmatch(rest):
        raise WordsError(
            "the address of the database cannot be understood",
            accepted="postgresql://user@host:port/database, and libpq's options behind a `?`",
            do="write @ / : ? % and blanks within a name or password as %40 %2F %3A %3F %25 %20, "
            "or keep the password in PGPASSWORD or a password file",
        ) from None
    return {key: value for key, value in parameters.items() if value is not None}


def _called(host: str | None, database: str | None) -> str:
    """Host and database, as messages and records call the source; no user and no folder."""
    return f"{'localhost' if not host or host.startswith('/') else host}/{database or ''}"


@contextmanager
def connected(address: str, seconds: int) -> Iterator[tuple[psycopg.Connection, str]]:
    """A connection in a read-only transaction that sees one state, and the database's name."""
    try:
        import psycopg
        from psycopg import sql
    except ImportError as error:
        raise UnreadableError(
            "reading a database needs psycopg",
            found=str(error),
            do="pip install 'hydrantgis[postgis]'",
        ) from error
    parameters = {
        "connect_timeout": CONNECT_SECONDS,
        "fallback_application_name": "hydrantgis",
        **_parameters(address),
        "client_encoding": "UTF8",
    }
    try:
        connection = psycopg.connect(**parameters)
    except psycopg.Error as error:
        raise UnreadableError(
            "the database cannot be reached",
            where=_called(parameters.get("host"), parameters.get("dbname")),
            found=" ".join(str(error).split()),
            do="check host, database, user and password",
        ) from error
    name = _called(connection.info.host, connection.info.dbname)
    with connection:
        connection.isolation_level = psycopg.IsolationLevel.REPEATABLE_READ
        connection.read_only = True
        with telling(name):
            connection.execute(sql.SQL(_SETTINGS).format(sql.Literal(f"{seconds}s")))
        yield connection, name

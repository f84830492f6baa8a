"""Results of DuckDB as polars frames, handed over by the Arrow C interface: pyarrow and numpy need not be loaded."""

from __future__ import annotations

from typing import TYPE_CHECKING

import duckdb

if TYPE_CHECKING:
    import polars as pl


def frame_of(result: duckdb.DuckDBPyRelation) -> pl.DataFrame:
    """The rows of a query as a frame. duckdb.Error where it fails, also in the midst of its rows."""
    import polars as pl

    try:
        return pl.DataFrame(result)
    except pl.exceptions.PolarsError as error:  # how polars passes on what DuckDB said
        raise duckdb.IOException(str(error).removeprefix("got external error: ")) from error

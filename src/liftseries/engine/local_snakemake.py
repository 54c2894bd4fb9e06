"""Snakemake for a run whose jobs are all on this machine: begun and ended in less time.

It takes what `snakemake` takes. Executors of clusters are not loaded, one of which brings pandas with it; and the
process ends when Snakemake has, without clearing up its memory, which takes as long as a small job.
"""

from __future__ import annotations

import gc
import logging
import os
import pkgutil
import sys
from collections.abc import Iterator

EXECUTORS = "snakemake_executor_plugin_"


def leave_out_executors() -> None:
    """Hides executors that are installed from Snakemake, which loads all that it finds."""
    find = pkgutil.iter_modules

    def others(*arguments, **options) -> Iterator[pkgutil.ModuleInfo]:
        return (module for module in find(*arguments, **options) if not module.name.startswith(EXECUTORS))

    pkgutil.iter_modules = others


def run() -> None:
    """Runs Snakemake and ends this process with its exit status."""
    leave_out_executors()
    gc.disable()  # while it is loaded, all of which stays
    from snakemake.cli import main

    gc.freeze()
    gc.enable()
    status = 0
    try:
        main()
    except SystemExit as ended:
        status = int(ended.code or 0)
    logging.shutdown()
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(status)


if __name__ == "__main__":
    run()

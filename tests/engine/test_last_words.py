"""What a run says last: of odd entries, and of what it failed."""

from __future__ import annotations

from liftseries.base.errors import MachineFault
from liftseries.engine.job import MACHINE
from liftseries.engine.run import SNAKEMAKE_LOG, RunFailed, _why, what_to_look_at


def said(folder, *oddities: str) -> str:
    (folder / "set_aside.csv").write_text("table,file,row\n", encoding="utf-8")
    (folder / "results.csv").write_text("analysis,estimate,problem\n", encoding="utf-8")
    (folder / "oddities.csv").write_text("\n".join(["rule,accepted", *oddities]) + "\n", encoding="utf-8")
    return "\n".join(what_to_look_at(folder))


def test_odd_entries_are_counted_and_accepted_ones_by_rule(tmp_path):
    told = said(tmp_path, "torque_high,true", "torque_high,true", "sites_equal,true", "sites_equal,false")
    assert "Odd, and taken all the same: 1 entry, in oddities.csv." in told
    assert "Odd, and accepted: torque_high 2, sites_equal 1." in told
    assert "Odd" not in said(tmp_path)


def failed_with(folder, *logs: str) -> Exception:
    """What a run failed of, whose jobs left these logs one after the other."""
    (folder / SNAKEMAKE_LOG).parent.mkdir()
    for number, words in enumerate(logs):
        (folder / f"logs/{number}.log").write_text(f"{words}\n", encoding="utf-8")
    named = "\n".join(
        f"    log: logs/{number}.log (check log file(s) for error details)" for number in range(len(logs))
    )
    (folder / SNAKEMAKE_LOG).write_text(named, encoding="utf-8")
    return _why(folder)


def test_of_several_attempts_the_last_one_tells_what_the_machine_lacked(tmp_path):
    fault = failed_with(tmp_path, f"{MACHINE}memory, 2 GB asked for", f"{MACHINE}memory, 4 GB asked for", "a warning")
    assert isinstance(fault, MachineFault)
    assert str(fault) == "memory, 4 GB asked for"


def test_what_is_no_machines_fault_is_told_as_it_stands_in_the_logs(tmp_path):
    fault = failed_with(tmp_path, "ValueError at 3", "a warning")
    assert isinstance(fault, RunFailed)
    assert str(fault) == "ValueError at 3\na warning"

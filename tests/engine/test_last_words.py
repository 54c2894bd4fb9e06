"""What a run says last of odd entries."""

from __future__ import annotations

from liftseries.engine.run import what_to_look_at


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

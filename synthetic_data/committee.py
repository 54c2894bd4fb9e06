"""What an audit committee would keep beside the tables: actions, replies and changes of a made-up series.

`year` is the last surgery year of the audit that an action or a reply belongs to: the audit of 2023 sat early in
2024, earlier ones likewise, that of 2024 after the data were closed at the end of 2025. `unit` is an operator, a
centre or `all`; an owner is a role; why an action was dropped stands in `what`. Days are days of the committee's
work, never of a patient's.

They go with what make_series.py planted: op01 at twice the odds, op14 who improves, Dune that stops probing in 2023
(an action that is overdue), and op09 who sends nothing in 2024 and does not reply.
"""

from pathlib import Path

import pandas as pd

ACTIONS = pd.DataFrame(
    [
        (
            "2020-1",
            2020,
            "perforation",
            "op14",
            "A colleague assists until the fiftieth case",
            "unit lead",
            "2022-06-30",
            "perforations of the next twenty cases within the limits",
            "done",
            "2022-05-30",
        ),
        (
            "2022-1",
            2022,
            "columns_filled",
            "all",
            "Second edition of the entry form, with the tear and its test on one line",
            "data manager",
            "2023-06-30",
            "95 of 100 cells filled",
            "done",
            "2023-05-15",
        ),
        (
            "2022-2",
            2022,
            "follow_up",
            "Brook",
            "Recall list for the visit at a year",
            "unit lead",
            "2023-09-30",
            "a visit at a year for 90 of 100 implants",
            "done",
            "2023-10-12",
        ),
        (
            "2023-1",
            2023,
            "perforation",
            "op01",
            "Confidential talk; the next twenty cases planned together with a colleague",
            "clinical lead",
            "2024-06-30",
            "perforations of the next forty cases within the limits",
            "done",
            "2024-06-11",
        ),
        (
            "2023-2",
            2023,
            "probed",
            "Dune",
            "Gauges back on the drilling tray; probing after every pass written down",
            "unit lead",
            "2024-04-30",
            "probed at 90 of 100 sites with a log",
            "open",
            None,
        ),
        (
            "2023-3",
            2023,
            "cases_received",
            "Moor",
            "Theatre book and cases sent compared every three months",
            "data manager",
            "2024-09-30",
            "every case of the theatre book received",
            "open",
            None,
        ),
        (
            "2023-4",
            2023,
            "membrane_checked",
            "all",
            "An endoscope for every centre. Dropped: no budget, and nearly every membrane is tested without one",
            "chair",
            "2024-12-31",
            "test known at 97 of 100 sites",
            "dropped",
            "2024-10-08",
        ),
        (
            "2023-5",
            2023,
            "as_planned",
            "op04",
            "The planned ladder printed and laid beside the instruments",
            "unit lead",
            "2024-03-31",
            "drilled as planned at 70 of 100 sites",
            "done",
            "2024-03-19",
        ),
    ],
    columns=["id", "year", "indicator", "unit", "what", "owner", "due", "measure", "status", "closed_on"],
)
RESPONSES = pd.DataFrame(
    [
        (
            2020,
            "op14",
            "perforation",
            "2021-01-25",
            "no",
            "These are my first cases. I ask for a colleague to assist me.",
        ),
        (
            2023,
            "op01",
            "perforation",
            "2024-01-22",
            "no",
            "Many of my cases are referred for low bone. I agree to plan the next twenty together with a colleague.",
        ),
        (
            2024,
            "op01",
            "perforation",
            "2026-01-19",
            "yes",
            "All tears of both years were looked up in the notes. One height had been typed wrongly and was corrected; "
            "the tears are right. I ask that the planned lift be looked at too.",
        ),
        (
            2024,
            "op10",
            "probed",
            "2026-01-21",
            "no",
            "The gauges left our tray in 2023 when the sets were packed anew. We felt for the floor with the drill, "
            "and nobody wrote it down.",
        ),
        (2024, "op12", "probed", "2026-01-23", "no", "As my colleague writes. New sets are ordered."),
        (2024, "op04", "as_planned", "2026-01-16", "yes", "Two logs had the stops of another set; corrected."),
    ],
    columns=["year", "unit", "indicator", "replied_on", "data_corrected", "statement"],
)
CHANGES = pd.DataFrame(
    [
        (2018, "op14", "First cases of this kind"),
        (2021, "op14", "A colleague assists"),
        (2021, "Heath", "New cone-beam scanner"),
        (2022, "Moor", "Drilling log written by the assistant"),
        (2023, "all", "Second edition of the entry form"),
        (2023, "Dune", "Sets packed anew, without gauges"),
        (2024, "op01", "Twenty cases planned together with a colleague"),
    ],
    columns=["year", "unit", "what"],
)


def write_committee(folder: Path) -> None:
    """The three files, beside the tables."""
    for name, table in (("actions", ACTIONS), ("responses", RESPONSES), ("changes", CHANGES)):
        table.to_csv(folder / f"{name}.csv", index=False, encoding="utf-8", lineterminator="\n")

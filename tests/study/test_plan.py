"""The plan: defaults, shape and content; every problem in one go, with the nearest known name."""

from __future__ import annotations

import pytest

from liftseries.base.errors import StudyError
from liftseries.study.plan import read_plan
from liftseries.study.plan_files import READ_FROM
from liftseries.study.plan_shape import plan_schema
from liftseries.study.schema import derived_schema

TABLES = "tables: {patients: p.csv, sites: [a.csv, b.xlsx#sites], instruments: i.csv, stops: s.csv}\n"


def plan_of(folder, text):
    (folder / "study.yaml").write_text(TABLES + text, encoding="utf-8")
    return read_plan(folder)


def problems_of(folder, text):
    with pytest.raises(StudyError) as caught:
        plan_of(folder, text)
    return [str(problem) for problem in caught.value.problems]


def test_defaults_are_the_contracts(tmp_path):
    plan = plan_of(tmp_path, "")
    assert plan.first_depth_margin_mm == {"guided": 1.0, "freehand": 1.0}
    assert (plan.step_mm, plan.depth_tolerance_mm, plan.speed_limit_rpm) == (1.0, 0.05, 800)
    assert (plan.lift_base_radius_mm, plan.rbh_bands_mm, plan.survival_months) == (5.0, (4, 6), (12, 36, 60))
    assert plan.perforation_terms == ("rbh_mid_mm", "floor_slope_deg", "approach")
    assert plan.survival_terms == ("rbh_mid_mm", "smoking")
    assert plan.gain_terms == ("protrusion_mm", "graft", "months")
    assert (plan.landmark_months, plan.resamples, plan.seed) == (12, 1000, 20260101)
    assert plan.comparison == {
        "groups": "protocol",
        "reference": "A",
        "adjust_for": ["rbh_mid_mm", "smoking"],
        "weights": ["overlap"],
        "primary": "perforation",
        "margin": None,
        "registered": {"registry": "", "number": "", "date": ""},
        "changed": [],
    }
    assert plan.risk_contrasts == {
        "rbh_mid_mm": [7, 4],
        "protrusion_mm": [2, 5],
        "approach": ["freehand", "guided"],
    }
    assert (plan.imputation["sets"], plan.imputation["iterations"]) == (20, 10)
    assert plan.audit["by"] == "operator"
    assert plan.audit["standard"] is None  # a committee sets it, nobody else
    assert (plan.audit["alert_sd"], plan.audit["alarm_sd"], plan.audit["cusum_cases"]) == (2, 3, 100)
    assert plan.audit["case_mix"] == ["rbh_mid_mm", "floor_slope_deg"]
    assert (plan.invalid_rows, plan.smallest_cell, plan.output) == ("stop", 5, tmp_path / "output")


def test_part_of_a_mapping_keeps_the_other_defaults(tmp_path):
    plan = plan_of(tmp_path, "plan: {first_depth_margin_mm: {freehand: 2}}")
    assert plan.first_depth_margin_mm == {"guided": 1.0, "freehand": 2.0}


def test_every_plan_key_has_default_and_description():
    def keys(entry, path=()):
        for name, rest in entry.get("properties", {}).items():
            yield (*path, name), rest
            yield from keys(rest, (*path, name))

    for path, entry in keys(plan_schema()["properties"]["plan"]):
        assert "default" in entry, path
        assert entry.get("description"), path


def test_no_and_yes_are_words(tmp_path):
    plan = plan_of(tmp_path, "extra_columns: {sites: {flapless: {type: category, levels: [no, yes]}}}")
    assert plan.schema["sites"].columns["flapless"].levels == ("no", "yes")


def test_all_problems_come_in_one_go(tmp_path):
    assert problems_of(tmp_path, "plan: {rbh_band_mm: [4], step_mm: 0, seed: many}\ninvalid_row: stop") == [
        'study.yaml: "invalid_row" is not a known key. Did you mean "invalid_rows"?',
        'study.yaml, plan: "rbh_band_mm" is not a known key. Did you mean "rbh_bands_mm"?',
        "study.yaml, plan, seed: expected a whole number, found a text. Correct the value.",
        "study.yaml, plan, step_mm: 0 is not above 0. Correct the value.",
    ]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            "plan: {perforation_terms: [rbh_mid]}",
            'study.yaml, plan, perforation_terms: "rbh_mid" is no column',
        ),
        ("plan: {perforation_terms: [perforation]}", '"perforation" is no column that can be a term'),
        ("plan: {survival_terms: [months]}", '"months" is no column that can be a term'),
        ("plan: {rbh_bands_mm: [6, 4]}", "study.yaml, plan, rbh_bands_mm: the numbers do not rise"),
        ("plan: {survival_months: []}", "study.yaml, plan, survival_months: is empty"),
        ("plan: {imputation: {auxiliary: [age]}}", '"age" is no column that can stand here. Did you mean "age_years"?'),
        ("plan: {risk_contrasts: {rbh_mid_mm: [8]}}", "risk_contrasts, rbh_mid_mm: 1 entries, where 2 are needed"),
        ("plan: {risk_contrasts: {rbh: [8, 4]}}", 'study.yaml, plan, risk_contrasts: "rbh" is no column'),
        ("reading: {tooth_numbering: ada}", 'study.yaml, reading, tooth_numbering: "ada" is none of fdi, universal'),
        ("reading: {not_recorded: ['-', ' ']}", "study.yaml, reading, not_recorded: an entry holds blanks only"),
        ("reading: {not_recorded: [999]}", '"999" holds a digit and may be a value somewhere'),
        ("reading: {levels: {perforated: {ja: yes}}}", '"perforated" is no column with levels. Did you mean "perf'),
        ("reading: {levels: {perforation: {ja: yep}}}", 'levels, perforation: "yep" is none of no, yes, unknown'),
        ("reading: {levels: {perforation: {No: yes}}}", '"No" is itself a level'),
        ("reading: {cleared: {sites: [protocoll]}}", '"protocoll" is no column of it. Did you mean "protocol"?'),
        ("output: .", "study.yaml, output: the folder holds the study's own files"),
        ("output: 'out{1}'", "study.yaml, output: the path holds { or }"),
        ("output: ../elsewhere", "study.yaml, output: the path leaves the study folder"),
        ("extra_columns: {sites: {tooth: {type: integer}}}", "the contract has a column of that name"),
        ("extra_columns: {sites: {side: {type: category}}}", "a category needs its levels"),
        ("extra_columns: {site: {side: {type: text}}}", 'study.yaml, extra_columns: "site" is not a table'),
        ("plan: {seed: 1, seed: 2}", 'not YAML: the key "seed" stands twice'),
        ("plan: [", "study.yaml, line 2: not YAML"),
        ("plan: {step_mm: '1,0'}", "expected a number with a decimal point, found a text"),
    ],
)
def test_problem_is_told_with_its_place(tmp_path, text, told):
    (problem,) = problems_of(tmp_path, text)
    assert told in problem


def test_tables_lie_elsewhere_only_where_the_command_line_names_the_folder(tmp_path, monkeypatch):
    study, elsewhere = tmp_path / "study", tmp_path / "elsewhere"
    study.mkdir()
    text = "output: ../elsewhere/output\n"
    tables = TABLES.replace("p.csv", str(elsewhere / "p.csv"))

    def problems():
        (study / "study.yaml").write_text(tables + text, encoding="utf-8")
        with pytest.raises(StudyError) as caught:
            read_plan(study)
        return [str(problem) for problem in caught.value.problems]

    refused = "study.yaml, {}: the path leaves the study folder. Keep the file inside it"
    by_name = ", or name its folder on the command line with --read-from."
    assert problems() == [refused.format("tables, patients") + by_name, refused.format("output") + "."]
    monkeypatch.setenv(READ_FROM, str(elsewhere))
    assert problems() == [refused.format("output") + "."]  # what a run writes stays in the study folder all the same


def test_words_of_the_reading_section_are_words_however_yaml_types_them(tmp_path):
    reading = plan_of(
        tmp_path,
        "reading: {not_recorded: [null, '-'], not_applicable: n/a, "
        "levels: {septum: {1: yes, x: yes}, graft: {true: mixed}}}",
    ).reading
    assert (reading.not_recorded, reading.not_applicable) == (("null", "-"), ("n/a",))
    assert reading.levels == {"septum": {"1": "yes", "x": "yes"}, "graft": {"true": "mixed"}}
    assert (reading.hidden, reading.tooth_numbering) == ("refuse", "fdi")


@pytest.mark.parametrize(
    "text",
    [
        "{not_recorded: [NA, na]}",
        "{not_recorded: [NA], not_applicable: ['na ']}",
        "{levels: {sex: {F: female, f: male}}}",
    ],
)
def test_a_word_with_two_meanings_is_told(tmp_path, text):
    problems = problems_of(tmp_path, f"reading: {text}")
    assert len(problems) == 2
    assert all("stands twice" in problem for problem in problems)


def test_missing_table_is_named(tmp_path):
    (tmp_path / "study.yaml").write_text("tables: {patients: p.csv, sites: s.csv, stops: t.csv}", encoding="utf-8")
    with pytest.raises(StudyError, match=r'study\.yaml, tables: the key "instruments" is missing'):
        read_plan(tmp_path)


def test_file_that_is_no_text_is_told(tmp_path):
    (tmp_path / "study.yaml").write_bytes(b"tables: \xff")
    with pytest.raises(StudyError, match="byte 9 is not UTF-8"):
        read_plan(tmp_path)


def test_every_plan_key_is_a_field_of_the_type_that_the_schema_gives_it(tmp_path):
    plan = plan_of(tmp_path, "plan: {seed: 7, step_mm: 2, rbh_bands_mm: [4, 6], first_depth_margin_mm: {guided: 2}}")
    kinds = {"number": float, "integer": int, "array": tuple, "object": dict, "string": str}
    for key, entry in plan_schema()["properties"]["plan"]["properties"].items():
        assert type(getattr(plan, key)) is kinds[entry["type"]], key
        if entry.get("items", {}).get("type") == "number":
            assert {type(value) for value in getattr(plan, key)} == {float}, key
    assert plan.first_depth_margin_mm == {"guided": 2.0, "freehand": 1.0}
    assert {type(value) for value in plan.first_depth_margin_mm.values()} == {float}


def test_patient_columns_hold_the_studys_own(tmp_path):
    plan = plan_of(tmp_path, "extra_columns: {patients: {insured: {type: category, levels: [no, yes]}}}")
    assert plan.patient_columns[0] == "patient_id"
    assert plan.patient_columns[-1] == "insured"


@pytest.mark.parametrize("written", ["2025-06", "1999-12"])
def test_the_month_in_which_the_data_were_closed(tmp_path, written):
    assert plan_of(tmp_path, f"study: {{data_until: {written}}}").data_until == written
    assert plan_of(tmp_path, "").data_until == ""


@pytest.mark.parametrize("written", ["2025-13", "2025-00", "2025-6", "2025-06-30", "June 2025"])
def test_what_is_no_month_is_told(tmp_path, written):
    told = problems_of(tmp_path, f"study: {{data_until: {written}}}")
    assert told == [
        f'study.yaml, study, data_until: "{written}" is no month: write the year and the month, such as 2025-06.'
    ]


def test_keys_that_are_missing_are_told_once_each(tmp_path):
    (tmp_path / "study.yaml").write_text("tables: {patients: p.csv}", encoding="utf-8")
    with pytest.raises(StudyError) as caught:
        read_plan(tmp_path)
    assert [str(problem) for problem in caught.value.problems] == [
        f'study.yaml, tables: the key "{name}" is missing. Add it.' for name in ("sites", "instruments", "stops")
    ]


WORKED_OUT = [(table, name) for table, entry in derived_schema().items() for name in entry.columns]


@pytest.mark.parametrize(("table", "name"), WORKED_OUT, ids=[f"{table}-{name}" for table, name in WORKED_OUT])
def test_no_column_of_a_studys_own_has_the_name_of_one_that_is_worked_out(tmp_path, table, name):
    assert {"rbh_band", "gain_mm", "achieved_last_mm"} <= {name for _, name in WORKED_OUT}
    for of in ("sites", "visits"):
        assert problems_of(tmp_path, f"extra_columns: {{{of}: {{{name}: {{type: text}}}}}}") == [
            f"study.yaml, extra_columns, {of}, {name}: the contract has a column of that name. Choose another."
        ]


ACCEPTED = "{rule: %s, keys: %s, why: seen, by: dm1, date: %s}"


@pytest.mark.parametrize(
    ("entry", "told"),
    [
        (("torque_high", "[S012, 7]", "2025-03-04"), []),
        (("torque_high", "all", "2025-03-04"), []),
        (
            ("torqe_high", "[S012]", "2025-03-04"),
            ['rule: "torqe_high" is no rule of an oddity. Did you mean "torque_high"?'],
        ),
        (("torque_high", "S012", "2025-03-04"), ["keys: is neither a list of keys nor `all`. Write `keys: [...]`."]),
        (("torque_high", "[]", "2025-03-04"), ["keys: is empty. Fill it in or leave the key out."]),
        (("torque_high", "[S012]", "4.3.25"), ['date: "4.3.25" is no date: write it such as 2025-03-04.']),
    ],
)
def test_accepted_oddities(tmp_path, entry, told):
    text = f"accepted_oddities: [{ACCEPTED % entry}]"
    if not told:
        assert plan_of(tmp_path, text).accepted_oddities[0]["rule"] == "torque_high"
        return
    assert problems_of(tmp_path, text) == [f"study.yaml, accepted_oddities, entry 1, {one}" for one in told]


def test_an_accepted_oddity_says_why_by_whom_and_when(tmp_path):
    told = problems_of(tmp_path, "accepted_oddities: [{rule: torque_high, keys: all}]")
    assert told == [
        f'study.yaml, accepted_oddities, entry 1: the key "{key}" is missing. Add it.' for key in ("why", "by", "date")
    ]

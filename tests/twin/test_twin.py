"""The twin of the demo series: nobody's records, about the same distributions, a study without a fault."""

from __future__ import annotations

import shutil
from dataclasses import replace
from itertools import product
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
import yaml
from scipy.stats import ks_2samp, spearmanr
from studies import write_study

from liftseries.base.errors import StudyError, UsageError
from liftseries.intake.study import check_study, read_study
from liftseries.study.plan import read_plan
from liftseries.study.schema import read_schema
from liftseries.twin import people
from liftseries.twin.donors import draw_column, draw_donors, event_chance, resolution
from liftseries.twin.equality import Records, compared
from liftseries.twin.folder import NOTE_FILE, draw_twin, make_twin
from liftseries.twin.people import draw_people

DEMO = Path(__file__).parents[2] / "synthetic_data"
ONE_CENTRE = ["heath_patients.csv", "heath_sites.csv", "heath_steps.csv", "heath_visits.csv"]


@pytest.fixture(scope="module")
def real():
    return read_study(read_plan(DEMO)).tables


@pytest.fixture(scope="module")
def twin(real):
    return draw_twin(real, read_plan(DEMO), seed=1)


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """One centre of the demo as a study of its own."""
    folder = tmp_path_factory.mktemp("small")
    for name in (*ONE_CENTRE, "instruments.csv", "stops.csv"):
        shutil.copy(DEMO / name, folder / name)
    written = yaml.safe_load((DEMO / "study.yaml").read_text(encoding="utf-8"))
    written["purpose"] = ["publication"]
    written["tables"] |= {name.removeprefix("heath_").removesuffix(".csv"): name for name in ONE_CENTRE}
    (folder / "study.yaml").write_text(yaml.safe_dump(written), encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def made(small, tmp_path_factory):
    folder = tmp_path_factory.mktemp("made") / "twin"
    make_twin(read_plan(small), folder)
    return folder


# ── the folder ──────────────────────────────────────────────────────────────────────────────────


def test_its_own_check_finds_nothing(made):
    plan = read_plan(made)
    assert plan.invalid_rows == "stop"
    assert check_study(plan)[1] == []


def test_it_says_that_it_is_made_up(made):
    assert "MADE-UP COPY" in (made / NOTE_FILE).read_text(encoding="utf-8")
    assert (made / "study.yaml").read_text(encoding="utf-8").startswith("# MADE-UP COPY")
    assert read_plan(made).title.startswith("Made-up copy")
    assert "no guarantee of anonymity" in (made / NOTE_FILE).read_text(encoding="utf-8")


def test_the_same_seed_gives_the_same_bytes_and_another_one_others(small, made, tmp_path):
    make_twin(read_plan(small), tmp_path / "again")
    make_twin(read_plan(small), tmp_path / "other", seed=7)
    for file in made.iterdir():
        assert (tmp_path / "again" / file.name).read_bytes() == file.read_bytes(), file.name
    assert (tmp_path / "other" / "patients.csv").read_bytes() != (made / "patients.csv").read_bytes()


def test_no_key_and_no_label_of_the_study_is_in_it(small, made):
    tables = read_study(read_plan(small)).tables
    schema = read_plan(small).schema
    labels = {
        str(label)
        for name, table in tables.items()
        for column in table
        if schema[name].columns[column].type == "text"
        for label in table[column].dropna()
        if len(str(label)) > 1  # a protocol's letter stands in every word
    }
    text = "".join(file.read_text(encoding="utf-8") for file in made.glob("*.csv"))
    assert len(labels) > 200
    assert not [label for label in labels if label in text]


def test_a_folder_that_holds_something_is_left_alone(small, tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(UsageError, match="not an empty folder"):
        make_twin(read_plan(small), tmp_path)


def test_nothing_to_record_stays_told_from_not_recorded(small, tmp_path):
    """Half of the empty widths of the centre are said to be not applicable, the others are just empty."""
    study = tmp_path / "study"
    shutil.copytree(small, study)
    sites = pd.read_csv(study / "heath_sites.csv", dtype=str, keep_default_na=False)
    rows = sites.index[sites.index % 4 < 2]
    sites.loc[rows, "sinus_width_mm"] = np.where(rows % 4 == 0, "n/a", "")
    sites.to_csv(study / "heath_sites.csv", index=False)
    written = yaml.safe_load((study / "study.yaml").read_text(encoding="utf-8"))
    (study / "study.yaml").write_text(yaml.safe_dump(written | {"reading": {"not_applicable": ["n/a"]}}))
    make_twin(read_plan(study), tmp_path / "twin")
    shares = []
    for plan in (read_plan(study), read_plan(tmp_path / "twin")):
        intake = read_study(plan)
        empty = intake.tables["sites"]["sinus_width_mm"].isna()
        shares.append([empty.mean(), intake.not_applicable["sites"]["sinus_width_mm"].mean()])
    # Two binomial shares of 120 patients, 3.3 standard errors.
    np.testing.assert_allclose(*shares, atol=3.3 * np.sqrt(2 * 0.25 / 120))
    assert 0.1 < shares[1][1] < shares[1][0] - 0.1


# ── nobody's record ─────────────────────────────────────────────────────────────────────────────


def known_of(tables) -> tuple[pd.DataFrame, pd.DataFrame]:
    schema = read_schema()
    of_patient = tables["patients"].set_index("patient_id")[compared(schema["patients"])]
    of_site = tables["sites"].set_index("patient_id")[compared(schema["sites"])].join(of_patient)
    return of_patient.astype(object), of_site.astype(object)


@pytest.mark.parametrize("which", [0, 1], ids=["patients", "sites"])
def test_no_record_is_a_real_one_nor_points_at_one(real, twin, which):
    """Counted again record by record, in sets and without the module's arithmetic."""
    known, made_up = known_of(real)[which], known_of(twin.tables)[which]
    columns = list(known)
    for left_out in [None, *columns]:
        names = [name for name in columns if name != left_out]
        if len(names) < 4:
            continue
        holders: dict[tuple, set] = {}
        for patient, row in zip(known.index, known[names].itertuples(index=False, name=None), strict=True):
            holders.setdefault(row, set()).add(patient)
        for row in made_up[names].itertuples(index=False, name=None):
            n = len(holders.get(row, ()))
            assert n == 0 or n >= (5 if left_out is None else 2)


def test_agreement_counted_by_hand():
    real = pd.DataFrame({"a": [1, 1, 2], "b": ["x", "x", None]})
    records, new = Records(real, np.array([0, 0, 1])), pd.DataFrame({"a": [1, 2], "b": [None, "y"]})
    counts, single = zip(*(records.agreement(new, names) for names in ("", "a", "b", "ab")), strict=True)
    # The first new record has a from rows 0 and 1 (one patient), b from row 2.
    assert np.transpose(counts).tolist() == [[3, 2, 1, 0], [3, 1, 0, 0]]
    assert np.transpose(single).tolist() == [[False, True, True, False], [False, True, False, False]]


def test_too_close():
    columns = list("abcde")
    real = pd.DataFrame([[1, 1, 1, 1, 1], [1, 1, 1, 1, 1], [2, 2, 2, 2, 2]], columns=columns)
    new = pd.DataFrame([[1, 1, 1, 1, 1], [1, 1, 1, 1, 9], [2, 2, 2, 2, 9], [2, 2, 2, 9, 9]], columns=columns)
    records = Records(real, np.arange(3))
    assert records.too_close(new, k=2).tolist() == [True, False, True, False]
    assert records.too_close(new, k=2, strict=False).tolist() == [False, False, True, False]
    assert records.too_close(new, k=3, strict=False).tolist() == [True, False, True, False]


@pytest.mark.parametrize("strict", [True, False])
def test_too_close_is_what_comparing_all_with_all_gives(strict):
    """Missing values among them, values that no real record has, and patients of several records."""
    rng = np.random.default_rng(4)
    patient = rng.integers(0, 120, 300)
    real, new = (pd.DataFrame(rng.integers(-1, 3, (n, 5)), columns=list("abcde"), dtype="Int64") for n in (300, 400))
    new.iloc[:9, 0] = 7
    equal = real.to_numpy()[None] == new.to_numpy()[:, None]
    expected = np.zeros(len(new), bool)
    for left_out in (None, *range(5)):
        agree = equal[:, :, [column for column in range(5) if column != left_out]].all(axis=2)
        single = np.array([np.unique(patient[row]).size == 1 for row in agree])
        copy = agree.any(axis=1) & (strict | (agree.sum(axis=1) < 2))
        expected |= single | (copy & (left_out is None))
    close = Records(real.mask(real < 0), patient).too_close(new.mask(new < 0), k=2, strict=strict)
    assert close.tolist() == expected.tolist()
    assert 100 < expected.sum() < 390


def alike(smoking: list[str]) -> dict[str, pd.DataFrame]:
    """Patients who differ in smoking alone."""
    ids = list("abcdefgh")[: len(smoking)]
    ages = pd.array([50] * len(ids), "Int64")
    patients = pd.DataFrame({"patient_id": ids, "centre": "north", "age_years": ages, "smoking": smoking})
    patients = patients.assign(sex="female", diabetes="no", periodontitis="no")
    sites = pd.DataFrame({"site_id": ids, "patient_id": ids, "operator": "o"})
    return {"patients": patients, "sites": sites.assign(operator_case_no=1, surgery_year=2020, tooth=16)}


@pytest.fixture
def few_rounds(monkeypatch):
    """Records are drawn again as strictly, then less so, then given up, in a twelfth of the rounds."""
    for name in ("MOST_ROUNDS", "STRICT_ROUNDS"):
        monkeypatch.setattr(people, name, getattr(people, name) // 12)


@pytest.mark.usefixtures("few_rounds")
def test_a_study_whose_patients_leave_no_room_is_refused():
    tables = alike(["never", "former", "current", "current", "current"])
    with pytest.raises(StudyError, match="too small or its patients too alike"):
        draw_people(tables, read_schema(), 4, np.random.default_rng(1))


def test_a_study_of_fewer_patients_than_the_smallest_cell_is_refused():
    with pytest.raises(StudyError, match="too few patients for a twin: 4"):
        draw_people(alike(["never"] * 4), read_schema(), 5, np.random.default_rng(1))


@pytest.mark.usefixtures("few_rounds")
def test_patients_all_alike_hide_each_other():
    drawn = draw_people(alike(["never"] * 6), read_schema(), 5, np.random.default_rng(1))
    assert len(drawn.patients) == 6


# ── about the same distributions ────────────────────────────────────────────────────────────────

# Two samples of a distribution differ by less than this in any share in 999 of 1000 cases (Smirnov's asymptotic
# bound). Patients are counted, since sites and visits of a patient are tied.
FARTHEST = 1.95


def bound(real) -> float:
    return FARTHEST * np.sqrt(2 / len(real["patients"]))


@pytest.mark.parametrize("name", ["patients", "sites", "steps", "visits"])
def test_every_column_is_distributed_alike(real, twin, name):
    apart = {}
    for column, entry in read_plan(DEMO).schema[name].columns.items():
        ours, theirs = real[name][column], twin.tables[name][column]
        if column in ("patient_id", "site_id"):
            continue
        if entry.type == "text":
            theirs = theirs.map({fresh: label for label, fresh in twin.labels[column].items()})
        # Whoever has a perforation's size at all are few.
        n = min(len(real["patients"]), ours.count(), theirs.count())
        if entry.type in ("integer", "number") and not entry.levels:
            distance = ks_2samp(ours.dropna().astype(float), theirs.dropna().astype(float)).statistic
        else:
            shares = [each.astype(object).value_counts(normalize=True) for each in (ours, theirs)]
            distance = shares[0].sub(shares[1], fill_value=0).abs().max()
        if distance > FARTHEST * np.sqrt(2 / n):
            apart[column] = distance
    apart.pop("operator_case_no", None)  # counted anew from beginnings drawn anew
    assert not apart


@pytest.mark.parametrize("name", ["patients", "sites", "steps", "visits"])
def test_as_much_is_missing(real, twin, name):
    n = len(real["patients"])
    for column in real[name]:
        p, q = (tables[name][column].isna().mean() for tables in (real, twin.tables))
        both = (p + q) / 2
        assert abs(p - q) <= 3.3 * np.sqrt(2 * both * (1 - both) / n), column


@pytest.mark.parametrize(("child", "key"), [("sites", "patient_id"), ("visits", "site_id"), ("steps", "site_id")])
def test_clusters_are_as_large(real, twin, child, key):
    ours, theirs = (tables[child].groupby(key).size() for tables in (real, twin.tables))
    assert ks_2samp(ours, theirs).statistic <= bound(real)


def test_what_goes_together_still_does(real, twin):
    measured = []
    for tables in (real, twin.tables):
        sites = tables["sites"]
        middle = (sites["rbh_min_mm"] + sites["rbh_max_mm"]) / 2
        lift = sites["platform_depth_mm"] + sites["implant_length_mm"] - middle
        heights = tables["visits"].dropna(subset="bone_height_mm").assign(middle=0.0)
        at = pd.Index(sites["site_id"]).get_indexer(heights["site_id"])
        gained = heights["bone_height_mm"].to_numpy() - middle.to_numpy()[at]
        measured.append(
            [
                spearmanr(middle, sites["implant_length_mm"]).statistic,
                spearmanr(gained, lift.to_numpy()[at]).statistic,
                spearmanr(sites["torque_ncm"], sites["bone_quality"].astype(float), nan_policy="omit").statistic,
                pd.crosstab(sites["protocol"], sites["approach"], normalize="index")["guided"].max(),
                (sites["lift_method"] == "fluid").corr(sites["fluid_ml"].notna()),
            ]
        )
    # Standard error of a correlation of 420 independent pairs: 0.05; of the difference of two 0.07.
    np.testing.assert_allclose(*measured, atol=0.2)
    assert min(abs(each) for each in measured[1]) > 0.3


def test_lives_can_have_been_lived(twin):
    visits = twin.tables["visits"].sort_values(["site_id", "months"])
    last = visits.groupby("site_id")["status"].last()
    ended = visits[visits["status"].isin(["failed", "patient_died"])]
    assert len(ended) > 10
    assert (last.loc[ended["site_id"]].to_numpy() == ended["status"].to_numpy()).all()
    assert not visits.duplicated(["site_id", "months"]).any()
    without = twin.tables["sites"].query("placement == 'none'")["site_id"]
    assert not visits["site_id"].isin(without).any()


def test_no_measured_row_is_copied(real, twin):
    columns = ["rbh_min_mm", "rbh_max_mm", "ridge_width_mm", "sinus_width_mm", "membrane_mm"]
    ours, theirs = (
        set(tables["sites"][columns].dropna().itertuples(index=False, name=None)) for tables in (real, twin.tables)
    )
    assert len(theirs) > 300
    assert not ours & theirs


# ── the parts ───────────────────────────────────────────────────────────────────────────────────


def test_donors_are_near_and_equal_where_they_have_to_be():
    rng = np.random.default_rng(1)
    real = pd.DataFrame({"x": np.arange(200.0), "group": ["a", "b"] * 100})
    new = pd.DataFrame({"x": [10.0, 150.0], "group": ["a", "b"]})
    donors = draw_donors(real, new, rng, ["x"], ["group"], n_donors=5)
    assert (real["group"].to_numpy()[donors] == new["group"]).all()
    assert (np.abs(real["x"].to_numpy()[donors] - new["x"]) <= 30).all()
    nobody = new.assign(group="c")
    assert (draw_donors(real, nobody, rng, ["x"], ["group"]) >= 0).all()


def test_settings_are_kept_and_measurements_blurred():
    rng = np.random.default_rng(2)
    real = pd.DataFrame({"graft_ml": np.r_[np.zeros(100), rng.uniform(0.1, 3, 100).round(2)]})
    column = read_schema()["sites"].columns["graft_ml"]
    drawn = draw_column(real, pd.DataFrame(index=range(2000)), column, rng)
    assert 0.4 < (drawn == 0).mean() < 0.6
    assert drawn.max() <= real["graft_ml"].max()
    assert drawn.nunique() > real["graft_ml"].nunique()


def test_an_event_model_is_a_logistic_model_hardly_pulled():
    """Against statsmodels' Logit; the penalty of 1 stands against an information of some 300."""
    rng = np.random.default_rng(3)
    real = pd.DataFrame({"x": rng.normal(size=3000)})
    event = (rng.random(3000) < 1 / (1 + np.exp(2 - real["x"]))).to_numpy()
    chance = event_chance(real, real, event, ["x"])
    assert chance.mean() == pytest.approx(event.mean(), abs=1e-4)
    reference = sm.Logit(event.astype(float), sm.add_constant(real["x"])).fit(disp=0)
    np.testing.assert_allclose(chance, reference.predict(), atol=0.005)
    assert event_chance(real, real, np.zeros(3000, bool), ["x"]).max() == 0


@pytest.mark.parametrize(("values", "step"), [([1, 2.5], 0.5), ([0.1, 0.7], 0.1), ([30, 45], 5), ([1 / 3, 1], 0.001)])
def test_resolution(values, step):
    assert resolution(np.array(values)) == step


def test_a_column_that_no_list_names_is_drawn_like_one_of_the_studys_own(small):
    """One that every row has to have and one that may be empty, in each table."""
    plan = read_plan(small)
    tables, extra, rng = dict(read_study(plan).tables), dict(plan.extra_columns), np.random.default_rng(3)
    for name, required in product(("patients", "sites", "visits"), (True, False)):
        column = {"type": "category", "levels": ["flap", "flapless"], "required": required}
        extra[name] = {**extra.get(name, {}), f"flap_of_{name}_{required}": column}
        values = pd.Categorical(rng.choice(column["levels"], len(tables[name])), column["levels"])
        tables[name] = tables[name].assign(**{f"flap_of_{name}_{required}": values})
    own = replace(plan, extra_columns=extra)
    # The same columns as if the contract had them.
    ours = {
        name: replace(table, columns={key: replace(column, own=False) for key, column in table.columns.items()})
        for name, table in own.schema.items()
    }
    as_own = draw_twin(tables, own, seed=1).tables
    as_ours = draw_twin(tables, SimpleNamespace(**vars(own), schema=ours), seed=1).tables
    for name in as_own:
        pd.testing.assert_frame_equal(as_ours[name], as_own[name])
    for name, required in product(("patients", "sites", "visits"), (True, False)):
        assert set(as_ours[name][f"flap_of_{name}_{required}"].dropna()) == {"flap", "flapless"}, (name, required)


def test_a_twin_is_not_made_among_the_tables_of_its_study(tmp_path):
    study = write_study(tmp_path / "study")
    with pytest.raises(UsageError, match="in the study's own folder"):
        make_twin(read_plan(study), study / "twin")

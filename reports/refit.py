"""Refits three models of results.csv with statsmodels from the files alone, and prints both beside each other.

    cd output && python models/refit.py

Two standard errors of statsmodels are known to differ: under Efron's ties its robust ones of the Cox model leave out
Efron's weights (up to 1 %), and those of the mixed model come from a joint Hessian (up to 1 % on unbalanced data).
"""

import sys
import warnings

import numpy as np
import pandas as pd
from statsmodels.duration.hazard_regression import PHReg
from statsmodels.genmod.cov_struct import Exchangeable, Independence
from statsmodels.genmod.families import Binomial
from statsmodels.genmod.generalized_estimating_equations import GEE
from statsmodels.regression.mixed_linear_model import MixedLM


def read(file):
    """A table with its texts as they are written: a site may be called 007 or NA."""
    return pd.read_csv(file, dtype=str, keep_default_na=False).replace("", None)


def tables():
    """The rows that each model can take from."""
    sites = read("clean/sites.csv").merge(read("derived/sites.csv"), on="site_id")
    sites = sites.merge(read("clean/patients.csv"), on="patient_id")
    visits = read("derived/visits.csv").merge(sites.drop(columns="patient_id"), on="site_id")
    return {
        "perforation.gee": sites,
        "survival.cox": read("derived/implants.csv").merge(sites.drop(columns="patient_id"), on="site_id"),
        "gain.mixed": visits[visits["gain_mm"].notna()],
    }


def design(data, model):
    """The model's columns: a number as it is, a column a level against the first."""
    written = [one.split(": ", 1) for one in (model["levels"] or "").split("; ") if one]
    levels = {column: names.split(" | ") for column, names in written}
    columns = {"(intercept)": np.ones(len(data))}
    for term in model["formula"].partition(" ~ ")[2].split(" + "):
        if term in levels:
            columns |= {f"{term}[{one}]": (data[term] == one).to_numpy(float) for one in levels[term][1:]}
        elif not term.startswith("("):
            columns[term] = data[term].astype(float).to_numpy()
    return pd.DataFrame(columns)


def fit(name, data, model):
    """Terms, estimates and standard errors."""
    x, patient = design(data, model), pd.factorize(data["patient_id"])[0]
    if name == "perforation.gee":
        correlation = Exchangeable() if "exchangeable" in model["family"] else Independence()
        event = (data["perforation"] == "yes").to_numpy(float)
        fitted = GEE(event, x, patient, family=Binomial(), cov_struct=correlation).fit(maxiter=200, ctol=1e-12)
        return x.columns, fitted.params, fitted.bse
    if name == "survival.cox":
        x = x.drop(columns="(intercept)")
        months, failed = data["months"].to_numpy(float), (data["failed"] == "true").to_numpy(int)
        # Who left before the first failure says nothing, and would make statsmodels' robust errors NaN.
        at_risk = months >= months[failed == 1].min()
        fitted = PHReg(months[at_risk], x[at_risk], failed[at_risk], ties="efron").fit(groups=patient[at_risk])
        return x.columns, fitted.params, fitted.bse
    gain = data["gain_mm"].to_numpy(float)
    within = {"site": "0 + C(site_id)"} if "site_id" in model["formula"] else None
    frame = pd.DataFrame({"gain_mm": gain, "site_id": data["site_id"].to_numpy()})
    columns = [f"x{k}" for k in range(x.shape[1])]
    frame[columns] = x.to_numpy()
    right = "0 + " + " + ".join(columns)
    model = MixedLM.from_formula(f"gain_mm ~ {right}", frame, groups=patient, re_formula="1", vc_formula=within)
    fitted = model.fit(reml=True)
    return x.columns, fitted.fe_params.to_numpy(), fitted.bse_fe.to_numpy()


def main():
    """Every model that has an estimate."""
    models = read("models/formula.csv").set_index("model").to_dict("index")
    results, found = read("results.csv"), []
    for name, data in tables().items():
        if read(f"models/covariance/{name}.csv").empty:
            continue
        used = read(f"models/used/{name}.csv")
        data = data[data["site_id"].isin(used.loc[used["used"] == "true", "site_id"])].sort_values("patient_id")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of variances near zero
            terms, estimates, errors = fit(name, data, models[name])
        of_model = (results["analysis"] == name) & (results["method"] == models[name]["method"])
        ours = results[of_model & (results["subset"] == "all")].set_index("term").loc[list(terms)]
        columns = {"estimate": ours["estimate"].astype(float), "refit_estimate": estimates}
        columns |= {"std_error": ours["std_error"].astype(float), "refit_std_error": errors}
        found.append(
            pd.DataFrame({"model": name, "term": list(terms)} | {k: np.asarray(v) for k, v in columns.items()})
        )
    pd.concat(found).to_csv(sys.stdout, index=False)


if __name__ == "__main__":
    main()

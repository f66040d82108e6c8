"""Classical analyses of variance fall out of the engine: the bank's section 1.

Not covered, and why: sequential sums of squares (o-anova-01 `anova_full`, o-anova-09 `type1`),
since the engine tests each term given the others; Welch's and rank tests (o-anova-08, -11, -13);
variance-ratio tests; trends by orthogonal polynomials enter as custom contrasts (o-anova-15).
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analyses.models.contrasts import comparisons
from analyses.models.mixed import fit_mixed
from tests.reference.load import case, frame


def near(found, truth, rel=1e-8, absolute=1e-12):
    np.testing.assert_allclose(np.asarray(found, float), truth, rtol=rel, atol=absolute)


def anova(table):
    """Index an analysis of variance of the bank by term."""
    return pd.DataFrame(table).set_index("term").rename(index=str.strip)


def same_tests(fit, table, terms, names=None):
    found, truth = fit.tests().set_index("term"), anova(table)
    for term in terms:
        ours = (names or {}).get(term, term)
        near(found.loc[ours, "num_df"], truth.loc[term, "Df"])
        near(found.loc[ours, "f"], truth.loc[term, "F value"])
        near(found.loc[ours, "p"], truth.loc[term, "Pr(>F)"], rel=1e-7)


def same_family(found, table, factor="", p="p_none", tolerance=1e-7):
    found = found.set_index("contrast")
    for row, label in enumerate(np.atleast_1d(table["label"])):
        one, other = (side.removeprefix(factor) for side in label.split(" - "))
        turned = f"{one} - {other}" not in found.index
        ours = found.loc[f"{other} - {one}" if turned else f"{one} - {other}"]
        value = np.atleast_1d(table["estimate"])[row]
        near(-ours["estimate"] if turned else ours["estimate"], value, absolute=1e-10)
        for key in ("se", "df"):
            near(ours[key], np.atleast_1d(table[key])[row])
        near(ours["p"], np.atleast_1d(table[p])[row], rel=1e-3, absolute=tolerance)


def text(data, *names):
    for name in names:
        data[name] = data[name].astype(str)
    return data


def test_factorial_in_incomplete_blocks():
    """STANDARDS C10: npk, Venables & Ripley (2002); blocks fixed, NPK confounded."""
    truth = case("bank/o-anova-01-npk")["results"]
    data = text(frame("bank/npk"), "block", "N", "P", "K")
    main = fit_mixed(data, "yield", "block + N + P + K")
    same_tests(main, truth["anova_main"], ["block", "N", "P", "K"])
    near(main.variances["residual"], truth["fit_main"]["sigma"] ** 2)
    same_family(main.contrasts("N"), truth["posthoc_N"]["vs_control"], "N")
    full = fit_mixed(data, "yield", "block + N * P * K")
    terms = ["N", "P", "K", "N:P", "N:K", "P:K"]
    same_tests(full, truth["anova_full"], terms)
    assert np.isnan(full.tests().set_index("term").loc["N:P:K", "f"])
    assert "N:P:K: only 0 of 1 contrasts can be tested" in full.tests().attrs["notes"]
    assert any("N[1]:P[1]:K[1]" in note for note in full.notes)
    mixed = fit_mixed(data, "yield", "N * P * K", ["block"])
    same_tests(mixed, truth["strata_within"], terms)
    whole = mixed.tests().set_index("term").loc["N:P:K"]
    near(whole["f"], anova(truth["strata_block"]).loc["N:P:K", "F value"], rel=1e-6)
    near(whole["den_df"], 4, rel=1e-6)


def test_blocks_with_unequal_replication():
    truth = case("bank/o-anova-02-antigua-rcb")["results"]
    data = frame("bank/antigua")
    data = text(data[data["site"] == "DBAN"].copy(), "trt")
    fit = fit_mixed(data, "harvwt", "block + trt")
    same_tests(fit, truth["anova_type2"], ["block", "trt"])
    table = truth["posthoc"]["vs_control"]
    same_family(fit.contrasts("trt", control="0"), table, "trt")
    exact = fit.contrasts("trt", control="0", adjust="exact")
    same_family(exact, table, "trt", p="p_mvt", tolerance=1e-4)


def test_latin_square():
    """STANDARDS C6: orchard sprays, Finney (1947), raw and on the log scale."""
    truth = case("bank/o-anova-03-orchard-latin")["results"]
    data = text(frame("bank/OrchardSprays"), "rowpos", "colpos")
    fit = fit_mixed(data, "decrease", "rowpos + colpos + treatment")
    names = {"row": "rowpos", "col": "colpos"}
    same_tests(fit, truth["anova"], ["row", "col", "treatment"], names)
    near(fit.variances["residual"], truth["fit"]["sigma"] ** 2)
    same_family(fit.contrasts("treatment", "all pairs"), truth["pairs"])
    pairs = fit.contrasts("treatment", "all pairs", adjust="exact")
    same_family(pairs, truth["pairs"], p="p_tukey", tolerance=1e-4)
    control = fit.contrasts("treatment", control="H", adjust="exact")
    same_family(control, truth["vs_control"], p="p_mvt", tolerance=1e-4)
    logged = fit_mixed(data, "decrease", "rowpos + colpos + treatment", log=True)
    same_tests(logged, truth["anova_log"], ["row", "col", "treatment"], names)


def test_latin_square_reference():
    """STANDARDS C6: the orchard on the log scale in `latin_orchard`."""
    truth, data = case("latin_orchard"), frame("latin_orchard")
    fit = fit_mixed(data, "decrease", "rowpos + colpos + treatment", log=True)
    found = fit.tests().set_index("term")
    for row, term in zip(truth["anova"], ["rowpos", "colpos", "treatment"], strict=False):
        near(found.loc[term, "f"], row["F value"], rel=1e-6)
        near(found.loc[term, "p"], row["Pr(>F)"], rel=1e-6)
    pairs = fit.contrasts("treatment", "all pairs").set_index("contrast")
    for row in truth["pairs"]:
        one, other = row["contrast"].split(" - ")
        near(-pairs.loc[f"{other} - {one}", "estimate"], row["estimate"], absolute=1e-10)
        near(pairs.loc[f"{other} - {one}", "se"], row["SE"])
        near(pairs.loc[f"{other} - {one}", "p"], row["p.value"], rel=1e-6)


def test_split_plot_strata():
    """STANDARDS C9: Yates (1935), oats; each F against its own stratum."""
    truth = case("bank/o-anova-04-oats-splitplot-aov")["results"]
    data = text(frame("bank/Oats"), "nitro")
    fit = fit_mixed(data, "yield", "nitro * Variety", ["Block", "Block:Variety"])
    same_tests(fit, truth["stratum_Block_Variety"], ["Variety"])
    names = {"nitroF": "nitro", "nitroF:Variety": "nitro:Variety"}
    same_tests(fit, truth["stratum_Within"], list(names), names)
    near(fit.variances["residual"], truth["ms_sub_error"])
    plots = fit.variances["residual"] + 4 * fit.variances["Block:Variety"]
    near(plots, truth["ms_main_error"])
    near(fit.contrasts("Variety")["se"], truth["se_diff_variety"])
    near(fit.contrasts("nitro")["se"], truth["se_diff_nitro"])
    near(fit.contrasts("nitro")["df"], 45)
    near(fit.contrasts("Variety")["df"], 10)
    assert fit.tests().set_index("term").loc["Variety", "f"] == pytest.approx(1.4853, abs=5e-5)
    trend = fit.contrasts("nitro", {"line": [-3, -1, 1, 3]})
    near(trend["t"] ** 2, anova(truth["within_split"]).loc["n: L", "F value"])


def test_crossed_factors_and_simple_effects():
    truth = case("bank/o-anova-05-warpbreaks")["results"]
    data = frame("bank/warpbreaks")
    data["tension"] = pd.Categorical(data["tension"], ["L", "M", "H"], ordered=True)
    terms = ["wool", "tension", "wool:tension"]
    same_tests(fit_mixed(data, "breaks", "wool * tension"), truth["anova"], terms)
    logged = fit_mixed(data, "breaks", "wool * tension", log=True)
    same_tests(logged, truth["anova_log"], terms)
    for wool, table in truth["log_simple_effects"].items():
        at = {"wool": wool}
        near(logged.means("tension", at=at)["mean"], table["means"]["estimate"])
        same_family(logged.contrasts("tension", "all pairs", at=at), table["pairs"])
        exact = logged.contrasts("tension", "all pairs", at=at, adjust="exact")
        same_family(exact, table["pairs"], p="p_tukey", tolerance=2e-5)
    split = logged.contrasts("tension", "all pairs", by="wool")
    assert list(split["wool"]) == ["A"] * 3 + ["B"] * 3


def test_complete_blocks():
    """Box, Hunter & Hunter (1978), penicillin; blocks fixed, random, and one plot lost."""
    truth = case("bank/o-anova-06-penicillin-rcb")["results"]
    data = frame("bank/penicillin_bhh")
    fixed = fit_mixed(data, "yield", "blend + treat")
    same_tests(fixed, truth["anova"], ["blend", "treat"])
    for key, kind in {"pairs": "all pairs", "vs_control": "versus control"}.items():
        table = truth["posthoc"][key]
        same_family(fixed.contrasts("treat", kind), table)
        same_family(fixed.contrasts("treat", kind, adjust="holm"), table, p="p_holm")
        exact = fixed.contrasts("treat", kind, adjust="exact")
        same_family(exact, table, p="p_mvt", tolerance=2e-5)
    same_tests(fit_mixed(data, "yield", "treat", ["blend"]), truth["anova"], ["treat"])
    lost = fit_mixed(data.drop(index=6), "yield", "blend + treat")
    same_tests(lost, truth["one_missing"]["anova_type2"], ["blend", "treat"])
    same_family(lost.contrasts("treat"), truth["one_missing"]["posthoc"]["vs_control"])


def test_balanced_incomplete_blocks():
    truth = case("bank/o-anova-07-appletaste-bib")["results"]
    data = text(frame("bank/appletaste"), "product")
    fit = fit_mixed(data, "aftertaste", "panelist + product")
    same_tests(fit, truth["anova_sequential"], ["product"])
    table = truth["posthoc"]["vs_control"]
    found = fit.contrasts("product", control="298", adjust="exact")
    same_family(found, table, "product", p="p_mvt", tolerance=2e-5)
    near(found["se"], truth["se_diff_formula"])


def test_one_way():
    truth = case("bank/o-anova-08-chickwts-oneway")["results"]
    fit = fit_mixed(frame("bank/chickwts"), "weight", "feed")
    same_tests(fit, truth["anova"], ["feed"])
    near(fit.means("feed")["mean"], truth["means"]["estimate"])
    near(fit.means("feed")["low"], truth["means"]["lower"])
    exact = fit.contrasts("feed", control="casein", adjust="exact")
    same_family(exact, truth["vs_control"], p="p_mvt", tolerance=2e-5)
    width = (exact["high"] - exact["estimate"]) / exact["se"]
    near(width, truth["dunnett_critical_two_sided_95"], rel=1e-4)
    pairs = fit.contrasts("feed", "all pairs", adjust="exact")
    # Tukey-Kramer is conservative where group sizes differ: the exact p may not exceed it
    table = truth["pairs_tukey_kramer"]
    for row, label in enumerate(table["label"]):
        one, other = label.split(" - ")
        p = pairs.set_index("contrast").loc[f"{other} - {one}", "p"]
        assert p <= table["p_tukey"][row] + 1e-4
        assert p == pytest.approx(table["p_tukey"][row], rel=0.05, abs=3e-3)


def test_unbalanced_two_way():
    """Scheffe (1959), p. 140: equal weights give the sums of squares of type III."""
    truth = case("bank/o-anova-09-genotype-types")["results"]
    data = frame("bank/genotype")
    fit = fit_mixed(data, "Wt", "Litter * Mother")
    same_tests(fit, truth["type3_sum_coding"], ["Litter", "Mother", "Litter:Mother"])
    same_family(fit.contrasts("Mother"), truth["posthoc_mother_interaction_model"]["vs_control"])
    weighted = fit.means("Mother", weights="observed")
    near(weighted["mean"], truth["prop_weights_means"]["estimate"])
    near(weighted["se"], truth["prop_weights_means"]["se"])
    additive = fit_mixed(data, "Wt", "Litter + Mother")
    # the type II table divides by the error of the model with the interaction
    ratio = additive.variances["residual"] / fit.variances["residual"]
    for term in ("Litter", "Mother"):
        f = additive.tests().set_index("term").loc[term, "f"] * ratio
        near(f, anova(truth["type2"]).loc[term, "F value"])
    pairs = additive.contrasts("Mother", "all pairs", adjust="exact")
    same_family(pairs, truth["posthoc_mother_additive"]["pairs"], p="p_mvt", tolerance=2e-5)


def test_covariance_analysis():
    truth = case("bank/o-anova-10-anorexia-ancova")["results"]
    data = frame("bank/anorexia")
    data["Treat"] = pd.Categorical(data["Treat"], ["Cont", "CBT", "FT"], ordered=True)
    fit = fit_mixed(data, "Postwt", "Prewt + Treat")
    same_tests(fit, truth["type2"], ["Prewt", "Treat"])
    same_family(fit.contrasts("Treat"), truth["posthoc"]["vs_control"])
    near(fit.means("Treat")["mean"], truth["posthoc"]["means"]["estimate"])
    crossed = fit_mixed(data, "Postwt", "Prewt * Treat")
    table = truth["posthoc_interaction_at_mean"]
    same_family(crossed.contrasts("Treat"), table["vs_control"])
    same_tests(crossed, truth["slopes_differ"], ["Prewt:Treat"])
    held = crossed.contrasts("Treat", at={"Prewt": truth["mean_prewt"]})
    same_family(held, table["vs_control"])


def test_square_roots():
    truth = case("bank/o-anova-11-insectsprays")["results"]
    data = frame("bank/InsectSprays")
    data["root"] = np.sqrt(data["count"])
    fit = fit_mixed(data, "root", "spray")
    same_tests(fit, truth["anova"], ["spray"])
    pairs = fit.contrasts("spray", "all pairs", adjust="exact")
    same_family(pairs, truth["pairs"], p="p_tukey", tolerance=1e-4)


def test_dunnett():
    """Westfall et al. (1999), cholesterol."""
    truth = case("bank/o-anova-12-cholesterol-dunnett")["results"]
    fit = fit_mixed(frame("bank/cholesterol"), "response", "trt")
    same_tests(fit, truth["anova"], ["trt"])
    exact = fit.contrasts("trt", control="1time", adjust="exact")
    same_family(exact, truth["posthoc"]["vs_control"], p="p_mvt", tolerance=2e-5)
    near(exact["low"], truth["dunnett_ci"]["lower"], rel=1e-4)
    near(exact["high"], truth["dunnett_ci"]["upper"], rel=1e-4)


def test_two_samples():
    """Student (1908), sleep: pooled and paired t are fits without and with pairs."""
    truth = case("bank/o-anova-13-ttests")["results"]
    data = text(frame("bank/sleep"), "group", "ID")
    pooled = fit_mixed(data, "extra", "group").contrasts("group")
    near(-pooled["t"], truth["pooled"]["statistic"])
    near([-pooled["high"][0], -pooled["low"][0]], truth["pooled"]["ci"])
    for fit in (fit_mixed(data, "extra", "group", ["ID"]), fit_mixed(data, "extra", "group + ID")):
        paired = fit.contrasts("group")
        near(-paired["t"], truth["paired"]["statistic"])
        near(paired["df"], 9)
        near([-paired["high"][0], -paired["low"][0]], truth["paired"]["ci"])


def test_split_plot_without_blocks():
    """Littell et al. (1996), Data Set 2.2(b), semiconductors."""
    truth = case("bank/o-anova-14-semiconductor-splitplot")["results"]
    data = text(frame("bank/Semiconductor"), "ET", "Wafer", "position")
    fit = fit_mixed(data, "resistance", "ET * position", ["ET:Wafer"])
    same_tests(fit, truth["stratum_wafer"], ["ET"])
    same_tests(fit, truth["stratum_within"], ["position", "ET:position"])
    found = fit.tests().set_index("term")["f"]
    near(found, [1.94, 3.39, 0.81], rel=5e-3)


def test_trends_and_expressions():
    """Bliss (1952): orthogonal polynomials as custom contrasts, a quadratic as expressions."""
    truth = case("bank/o-anova-15-toothgrowth-trend")["results"]
    data = frame("bank/ToothGrowth")
    fit = fit_mixed(data, "len", "supp * C(dose)")
    table = anova(truth["trend_split"])
    scores = np.array([0.5, 1.0, 2.0])
    line = scores - scores.mean()
    curve = line**2 - (line**2).mean() - line * (line**3).sum() / (line**2).sum()
    found = fit.contrasts("dose", {"linear": list(line), "quadratic": list(curve)})
    near(found["t"] ** 2, [table.loc[f"f: {k}", "F value"] for k in ("linear", "quadratic")])
    quadratic = fit_mixed(data, "len", "supp * (dose + I(dose ** 2))")
    near(quadratic.variances["residual"], truth["quadratic_regression"]["sigma"] ** 2)
    estimates = dict(zip(quadratic.effects["effect"], quadratic.effects["estimate"], strict=True))
    coefficients = truth["quadratic_regression"]["coef"]
    known = dict(zip(coefficients["term"], coefficients["Estimate"], strict=True))
    near(estimates["dose"], known["dose"])
    near(estimates["supp[VC]:I(dose ** 2)"], known["suppVC:I(dose^2)"])
    for dose, row in truth["supp_within_dose"].items():
        near(fit.contrasts("supp", at={"dose": dose})["t"].abs(), abs(row["t"]))


def test_varieties_over_two_years():
    """Immer, Hayes & LeRoy Powers (1934); Fisher (1947)."""
    truth = case("bank/o-anova-16-immer-two-years")["results"]
    data = frame("bank/immer")
    data["mean"] = (data["Y1"] + data["Y2"]) / 2
    fit = fit_mixed(data, "mean", "Loc + Var")
    same_tests(fit, truth["anova_mean"], ["Loc", "Var"])
    pairs = fit.contrasts("Var", "all pairs", adjust="exact")
    same_family(pairs, truth["pairs"], p="p_tukey", tolerance=1e-4)
    long = pd.concat(
        [data.assign(year=year, y=data[f"Y{year}"]) for year in (1, 2)], ignore_index=True
    )
    mixed = fit_mixed(long, "y", "Var * C(year) + Loc", ["Loc:Var"])
    # the plots vary less than their halves, so their variance stops at zero
    plots, within = anova(truth["stratum_plot"]), anova(truth["stratum_within"])
    assert plots.loc["Residuals", "Mean Sq"] < within.loc["Residuals", "Mean Sq"]
    assert mixed.variances["Loc:Var"] == 0


def test_plant_growth():
    """Dobson (1983): Dunnett and Tukey for one way."""
    truth = case("oneway_plant_growth")
    fit = fit_mixed(frame("oneway_plant_growth"), "weight", "group")
    near(fit.tests()["f"][0], truth["anova"][0]["F value"])
    exact = fit.contrasts("group", adjust="exact")
    near(exact["t"], truth["dunnett"]["t"])
    near(exact["p"], truth["dunnett"]["p"], rel=1e-3, absolute=1e-5)
    width = (exact["high"] - exact["estimate"]) / exact["se"]
    near(width, truth["dunnett"]["critical"], rel=1e-4)
    tukey = fit.contrasts("group", "all pairs", adjust="exact")
    near(tukey["p"], [row["p adj"] for row in truth["tukey"]], rel=1e-3, absolute=1e-5)
    near(tukey["low"], [row["lwr"] for row in truth["tukey"]], rel=1e-3)


def test_comparisons_need_no_frame():
    """The same family as arrays, without a data frame in or out."""
    data = frame("bank/chickwts")
    arrays = {name: data[name].to_numpy() for name in data}
    found = comparisons(fit_mixed(arrays, "weight", "feed"), "feed", df="kenward-roger")
    near(found.estimate, fit_mixed(data, "weight", "feed").contrasts("feed")["estimate"])

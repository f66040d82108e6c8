"""Figures: every unit visible, safe text, one look, the same bytes for the same analysis."""

from __future__ import annotations

import itertools
import struct
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from reports.figures.bags import figure_bags
from reports.figures.difference import figure_difference
from reports.figures.flow import figure_flow
from reports.figures.flushes import figure_flushes
from reports.figures.look import MARKERS, TINTS, marker, series
from reports.figures.losses import figure_losses
from tests.reports.by_hand import analyse
from tests.reports.invented import (
    four_mixes,
    one_batch_a_side,
    plan,
    records,
    renamed,
    two_mixes,
)  # fmt: skip
from tests.reports.odd_words import NASTY, written_report
from trials.trial import Design

SVG = "{http://www.w3.org/2000/svg}"
FIGURES = (figure_bags, figure_difference, figure_flow, figure_flushes, figure_losses)


@pytest.fixture(scope="module", params=["two_mixes", "four_mixes"])
def analysis(request):
    return {"two_mixes": two_mixes, "four_mixes": four_mixes}[request.param]()


@pytest.fixture(scope="module", params=FIGURES, ids=lambda one: one.__name__)
def drawn(request, analysis):
    return request.param(analysis)


def test_the_svg_stands_alone(drawn):
    root = ET.fromstring(drawn.svg)
    assert root.get("role") == "img"
    assert root.find(f"{SVG}title").text == drawn.title
    assert root.find(f"{SVG}desc").text == drawn.alt
    assert len(drawn.svg) < 150_000
    for element in root.iter():
        assert element.tag.rpartition("}")[2] not in ("script", "style", "image", "foreignObject")
        assert "style" not in element.attrib
        for key, value in element.attrib.items():
            assert not key.startswith("on")
            if key.endswith("href"):
                assert value.startswith("#")
        if "id" in element.attrib:
            assert element.get("id").startswith(drawn.name)


def test_every_reference_has_its_target(drawn):
    root = ET.fromstring(drawn.svg)
    ids = [element.get("id") for element in root.iter() if element.get("id")]
    assert len(ids) == len(set(ids))
    for element in root.iter():
        for key, value in element.attrib.items():
            if key.endswith("href"):
                assert value[1:] in ids
            if value.startswith("url(#"):
                assert value[5:-1] in ids


def test_only_our_colours_are_used(drawn):
    ours = {tint.light for tint in TINTS.values()} | {"none"}
    root = ET.fromstring(drawn.svg)
    for element in root.iter():
        for key in ("fill", "stroke"):
            assert element.get(key, "none") in ours


def test_the_png_is_fit_for_print(drawn):
    assert drawn.png.startswith(b"\x89PNG")
    width, height = struct.unpack(">II", drawn.png[16:24])
    assert width >= 1200
    assert height >= 200


def test_title_and_text_speak(drawn):
    assert drawn.title.endswith(".")
    assert len(drawn.alt) > 40
    assert drawn.caption


@pytest.mark.parametrize("figure", FIGURES, ids=lambda one: one.__name__)
def test_the_same_analysis_gives_the_same_bytes(figure):
    one, other = figure(two_mixes()), figure(two_mixes())
    assert one.svg == other.svg
    assert one.png == other.png


@pytest.mark.parametrize("name", NASTY.values(), ids=NASTY)
@pytest.mark.parametrize("figure", FIGURES, ids=lambda one: one.__name__)
def test_the_grower_may_write_anything(figure, name):
    wanted = figure.__name__.removeprefix("figure_")
    (done,) = (one for one in written_report(name).figures if one.name == wanted)
    root = ET.fromstring(done.svg)
    assert root.find(f"{SVG}title").text == done.title
    width = float(root.get("viewBox").split()[2])
    for text in root.iter(f"{SVG}text"):
        assert len(text.text or "") * 5 < 1.3 * width


def test_signs_of_money_are_no_formula():
    done = figure_losses(renamed(two_mixes(), O="$5 bran_{2} $x^2$"))
    texts = [text.text for text in ET.fromstring(done.svg).iter(f"{SVG}text")]
    assert "$5 bran_{2} $x^2$" in texts


def test_every_unit_of_known_total_has_its_mark():
    analysis = two_mixes()
    root = ET.fromstring(figure_bags(analysis).svg)
    marks = [
        use
        for group in root.iter(f"{SVG}g")
        if "PathCollection" in group.get("id", "")
        for use in group.iter(f"{SVG}use")
    ]
    assert len(marks) == int(analysis.bags["total_g"].notna().sum()) == 31


def test_every_unit_made_has_its_square():
    root = ET.fromstring(figure_flow(two_mixes()).svg)
    drawn = {"fruited or unknown": 0, "lost": 0}
    for path in root.iter(f"{SVG}path"):
        # A square is drawn in one go of five points; the lines of a sign have fewer.
        squares = [stroke for stroke in path.get("d").split("M")[1:] if stroke.count("L") == 4]
        if path.get("stroke") == TINTS["series 2"].light:
            drawn["fruited or unknown"] += len(squares)
        elif path.get("stroke") == TINTS["series 1"].light:
            drawn["lost"] += len(squares)
    # The key explains three: fruited, unknown, contaminated.
    assert drawn == {"fruited or unknown": 29 + 2, "lost": 3 + 1}


def test_a_large_trial_stays_a_small_file():
    trial = plan(
        design=Design(
            layout="complete blocks", block="shelf", blocks=40, units_per_treatment=10, seed=1
        )
    )
    read = records(trial, means={"B": 380.0, "O": 420.0}, lost=range(0, 800, 17))
    analysis = analyse(read)
    for figure in FIGURES:
        assert len(figure(analysis).svg) < 150_000


def test_figures_without_their_numbers_are_left_out():
    withheld = one_batch_a_side()
    assert figure_difference(withheld) is None
    assert figure_flushes(withheld) is None


def test_units_of_one_batch_get_no_range():
    done = figure_losses(one_batch_a_side())
    assert "fits" not in done.alt
    assert "1 of 20 from 1 batch was lost" in done.alt


def test_titles_state_what_is_shown():
    analysis = two_mixes()
    assert figure_bags(analysis).title == (
        "10 % okara gave more than 10 % wheat bran, and by enough to matter."
    )
    assert figure_losses(analysis).title == (
        "3 bags were lost to contamination, all of them with 10 % wheat bran."
    )
    assert figure_flow(analysis).title == "Of 32 bags made, 28 fruited and lasted."


def _channels(colour):
    shares = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    return np.array([c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in shares])


def _contrast(one, other):
    """WCAG 2.2, contrast ratio."""
    weights = np.array([0.2126, 0.7152, 0.0722])
    low, high = sorted(float(weights @ _channels(colour)) for colour in (one, other))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("side", ["light", "dark"])
def test_colours_stand_out_from_the_paper(side):
    """WCAG 2.2: 4.5 for text (1.4.3), 3 for marks (1.4.11)."""
    paper = getattr(TINTS["paper"], side)
    for part, tint in TINTS.items():
        if part in ("ink", "muted"):
            assert _contrast(getattr(tint, side), paper) >= 4.5
        elif part.startswith("series") or part == "zone edge":
            assert _contrast(getattr(tint, side), paper) >= 3
    assert _contrast(getattr(TINTS["ink"], side), getattr(TINTS["zone"], side)) >= 4.5


# Machado, Oliveira & Fernandes (2009), IEEE Trans Vis Comput Graph 15, 1291-1298, severity 1.0
# (matrices from memory).
BLINDNESS = {
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
               [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
               [-0.011820, 0.042940, 0.968881]],
    "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
               [0.004733, 0.691367, 0.303900]],
}  # fmt: skip


def _lab(linear):
    """CIE 1976 L*a*b* from linear sRGB, D65."""
    to_xyz = np.array(
        [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    )
    ratio = to_xyz @ np.clip(linear, 0, 1) / np.array([0.9505, 1.0, 1.089])
    cube = np.where(ratio > 216 / 24389, np.cbrt(ratio), (24389 / 27 * ratio + 16) / 116)
    return np.array([116 * cube[1] - 16, 500 * (cube[0] - cube[1]), 200 * (cube[1] - cube[2])])


@pytest.mark.parametrize("side", ["light", "dark"])
@pytest.mark.parametrize("kind", BLINDNESS)
def test_treatments_differ_to_every_eye(kind, side):
    """A difference of ten CIE 1976 units is plain to see side by side."""
    colours = [getattr(TINTS[f"series {index}"], side) for index in range(6)]
    seen = [_lab(np.array(BLINDNESS[kind]) @ _channels(colour)) for colour in colours]
    for one, other in itertools.combinations(seen, 2):
        assert np.linalg.norm(one - other) > 10


def test_colour_is_never_the_only_code():
    assert len(set(MARKERS)) == len(MARKERS) >= 8
    assert [marker(index) for index in range(8)] == list(MARKERS)
    assert series(0) not in {series(index) for index in range(1, 20)}


def test_light_tints_are_unique():
    lights = [tint.light for tint in TINTS.values()]
    assert len(set(lights)) == len(lights)

"""Every figure of every shipped story: safe, small, told, and clear to every eye."""

from __future__ import annotations

import itertools
import struct
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from reports.figures.influence import figure_influence
from reports.figures.larger import figure_larger
from reports.figures.look import STEPS, TINTS
from reports.figures.places import figure_places
from reports.figures.residuals import figure_residuals
from reports.parts.blocks import Report
from tests.reports.by_hand import analyse as by_hand
from tests.reports.invented import one_batch_a_side, plan, records, renamed, two_mixes
from tests.reports.odd_words import NASTY, written_report
from tests.reports.stories import story_report
from tests.reports.test_figures import BLINDNESS, SVG, _channels, _contrast, _lab
from trials.trial import Design

STORIES = ("mixes", "shortcut", "flushes")
NEW = (figure_larger, figure_places, figure_residuals, figure_influence)
KNOWN = {
    "bags", "batches", "counting", "difference", "flow", "flush-shares", "flushes", "influence",
    "larger", "loss-time", "losses", "places", "residuals", "times", "two-ways", "value-by-flush",
}  # fmt: skip


@pytest.fixture(scope="module")
def reports() -> dict[str, Report]:
    return {name: story_report(name) for name in STORIES}


@pytest.fixture(scope="module")
def figures(reports):
    return [(name, one) for name, told in reports.items() for one in told.figures]


def test_the_stories_show_every_kind_of_figure(figures):
    assert {one.name for _, one in figures} >= KNOWN


def test_they_stand_alone_and_are_small(figures):
    for story, one in figures:
        root = ET.fromstring(one.svg)
        assert root.find(f"{SVG}title").text == one.title, story
        assert root.find(f"{SVG}desc").text == one.alt
        assert len(one.svg.encode()) < 150_000, (story, one.name)
        for element in root.iter():
            tag = element.tag.rpartition("}")[2]
            assert tag not in ("script", "style", "image", "foreignObject", "a"), one.name
            assert not any(key.startswith("on") or key == "style" for key in element.attrib)


def test_only_our_colours_and_our_type_are_used(figures):
    """No default look left by accident: the drawing library's own blue is #1f77b4."""
    ours = {tint.light for tint in TINTS.values()} | {"none"}
    for _, one in figures:
        root = ET.fromstring(one.svg)
        for element in root.iter():
            for key in ("fill", "stroke"):
                assert element.get(key, "none") in ours, (one.name, element.get(key))
        fonts = {text.get("font-family") for text in root.iter(f"{SVG}text")}
        assert len(fonts) == 1
        sizes = [float(text.get("font-size", "9.5")) for text in root.iter(f"{SVG}text")]
        # A figure 302 points wide fills a phone's 360 dots: 8 points are nearly 10 dots.
        assert min(sizes) >= 8, (one.name, min(sizes))


def test_they_print_at_three_hundred_dots(figures):
    for _, one in figures:
        wide, high = struct.unpack(">II", one.png[16:24])
        assert wide == 1260
        assert 300 <= high <= 2600


def test_titles_state_a_finding_and_texts_say_it(figures):
    for story, one in figures:
        assert one.title.endswith((".", "!")), (story, one.title)
        assert one.title[0].isupper() or one.title[0].isdigit(), one.title
        assert len(one.title.split()) >= 5, one.title
        assert len(one.alt) > 60
        assert any(sign.isdigit() for sign in one.alt), one.alt
        assert "nan" not in (one.title + one.alt + one.caption).lower().split()


def test_no_text_runs_out_of_its_picture(figures):
    for _, one in figures:
        root = ET.fromstring(one.svg)
        wide = float(root.get("viewBox").split()[2])
        for text in root.iter(f"{SVG}text"):
            said = text.text or ""
            assert len(said) * 0.5 * float(text.get("font-size", "9.5")) < 1.05 * wide, said


@pytest.mark.parametrize("figure", NEW, ids=lambda one: one.__name__)
@pytest.mark.parametrize("name", NASTY.values(), ids=NASTY)
def test_the_grower_may_write_anything(figure, name):
    wanted = figure.__name__.removeprefix("figure_")
    (done,) = (one for one in written_report(name).figures if one.name == wanted)
    root = ET.fromstring(done.svg)
    assert root.find(f"{SVG}title").text == done.title
    assert "<script" not in done.svg
    assert done.png.startswith(b"\x89PNG")


@pytest.mark.parametrize("figure", NEW, ids=lambda one: one.__name__)
def test_the_same_analysis_gives_the_same_bytes(figure):
    one, other = figure(two_mixes()), figure(two_mixes())
    assert (one.svg, one.png, one.alt) == (other.svg, other.png, other.alt)


def test_a_large_trial_stays_a_small_file_or_is_left_out():
    trial = plan(
        design=Design(
            layout="complete blocks", block="shelf", blocks=40, units_per_treatment=7, seed=1
        )
    )
    analysis = by_hand(records(trial, means={"B": 380.0, "O": 420.0}, lost=range(0, 560, 17)))
    for figure in NEW:
        done = figure(analysis)
        assert done is None or len(done.svg) < 150_000, figure.__name__


def test_nothing_to_show_is_left_out():
    withheld = one_batch_a_side()
    assert figure_larger(withheld) is None
    assert figure_places(withheld) is None


def test_the_map_has_a_cell_for_every_unit():
    analysis = two_mixes()
    root = ET.fromstring(figure_places(analysis).svg)
    written = [text.text for text in root.iter(f"{SVG}text")]
    known = analysis.bags["total_g"].notna() & (analysis.bags["fate"] == "finished")
    crosses = int((~known).sum())
    assert written.count("×") == crosses == 4
    weights = [f"{round(one):d}" for one in analysis.bags.loc[known, "total_g"]]
    for weight in weights:
        assert weight in written


def test_a_gradient_is_said_with_its_direction():
    analysis = two_mixes()
    bags = analysis.bags
    bags["total_g"] = bags["total_g"] + 60.0 * bags["position"]
    title = figure_places(analysis).title
    assert title.startswith("A bag gave about ")
    assert title.endswith("g more from place to place.")


def test_residuals_name_who_is_far_out():
    analysis = two_mixes()
    analysis.bags.loc[0, "total_g"] = 1500.0
    code = analysis.bags["code"][0]
    assert code in figure_residuals(analysis).title
    assert figure_influence(analysis).title.startswith(f"{code} moves the difference in yield")


def test_the_page_names_the_narrowing_in_the_unit_of_the_finding():
    title = figure_larger(two_mixes()).title
    assert title.startswith("Twice as many bags would narrow the range from ")
    assert title.endswith(" g either side.")


# Codes that stand for different things side by side in one figure.
TOGETHER = {
    "flow": ("series 2", "series 1", "muted"),
    "difference": ("ink", "zone edge", "series 1"),
    "larger": ("ink", "series 1", "zone edge"),
}


@pytest.mark.parametrize("side", ["light", "dark"])
@pytest.mark.parametrize("kind", [*BLINDNESS, "none"])
@pytest.mark.parametrize("figure", TOGETHER)
def test_codes_of_one_figure_differ_to_every_eye(figure, kind, side):
    """Ten CIE 1976 units apart under the simulation of Machado and others (2009)."""
    matrix = np.array(BLINDNESS.get(kind, np.eye(3)))
    seen = [_lab(matrix @ _channels(getattr(TINTS[part], side))) for part in TOGETHER[figure]]
    for one, other in itertools.combinations(seen, 2):
        assert np.linalg.norm(one - other) > 10


def test_the_simulation_leaves_grey_as_it_is():
    """Machado and others (2009): each row of a matrix sums to one, so greys stay greys."""
    for matrix in BLINDNESS.values():
        assert np.sum(matrix, axis=1) == pytest.approx(np.ones(3), abs=2e-6)


@pytest.mark.parametrize("side", ["light", "dark"])
@pytest.mark.parametrize("kind", [*BLINDNESS, "none"])
def test_shades_climb_evenly_in_grey_and_to_every_eye(kind, side):
    """The neutral scale is told by lightness alone: seven units of L* at least a step."""
    matrix = np.array(BLINDNESS.get(kind, np.eye(3)))
    light = [_lab(matrix @ _channels(getattr(TINTS[f"step {n}"], side)))[0] for n in range(STEPS)]
    steps = np.diff(light) if side == "dark" else -np.diff(light)
    assert min(steps) >= 7


@pytest.mark.parametrize("side", ["light", "dark"])
def test_weights_can_be_read_on_every_shade(side):
    """WCAG 2.2, 1.4.3: 4.5 to 1; the upper two shades carry type in the colour of the paper."""
    for n in range(STEPS):
        type_colour = TINTS["paper" if n >= STEPS - 2 else "ink"]
        shade = getattr(TINTS[f"step {n}"], side)
        assert _contrast(getattr(type_colour, side), shade) >= 4.5


def test_emoji_in_a_png_are_named_not_boxed():
    """The PNG of a name with an emoji is that of the emoji's name in its place."""
    analysis = two_mixes()
    drawn = figure_larger(renamed(analysis, O="🍄 bran"))
    named = figure_larger(renamed(analysis, O="mushroom bran"))
    assert drawn.png == named.png

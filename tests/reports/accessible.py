"""What axe finds on a page: all rules once, and the contrast of every look of a text by scheme.

Contrast is nearly all of axe's work, text by text. Texts of one type, size and colour on the same
grounds look alike, so of each look three are measured; the slow tests measure every text. Inside
pictures axe measures nothing (it calls their words incomplete), so their parts are taken out first.
"""

from __future__ import annotations

from typing import Any

import pytest

__all__ = ["grave_faults", "grave_faults_of_every_text"]

axe_api = pytest.importorskip("axe_playwright_python.sync_playwright", reason="no axe")

SCHEMES = ("light", "dark")
CONTRAST = "color-contrast"

EMPTY_PICTURES = """document.querySelectorAll('svg').forEach(one => {
  const box = one.getBoundingClientRect();
  one.setAttribute('width', box.width);
  one.setAttribute('height', box.height);
  one.replaceChildren();
})"""

MARK_LOOKS = """() => {
  const looks = new Map();
  for (const one of document.body.querySelectorAll('*')) {
    one.removeAttribute('data-look');
    const said = [...one.childNodes].filter(node => node.nodeType === 3);
    const text = said.map(node => node.data).join('').trim();
    if (!text) continue;
    const own = getComputedStyle(one);
    const look = [own.color, own.fontSize, own.fontWeight, own.textShadow];
    for (let on = one; on; on = on.parentElement) {
      const style = getComputedStyle(on);
      look.push([style.backgroundColor, style.backgroundImage, style.opacity, style.position,
                 style.float, style.filter, style.mixBlendMode, style.visibility]);
    }
    const name = JSON.stringify(look);
    looks.set(name, [...looks.get(name) ?? [], [text.length, one]]);
  }
  for (const alike of looks.values()) {
    alike.sort(([one], [other]) => other - one);  // of a single sign axe does not judge
    for (const [, one] of alike.slice(0, 3)) one.setAttribute('data-look', '');
  }
  return looks.size;
}"""


def grave_faults(page: Any) -> list[str]:
    """Give the serious faults of an open page; its pictures are empty afterwards."""
    found = _run(page, "light", options={"rules": {CONTRAST: {"enabled": False}}})
    page.evaluate(EMPTY_PICTURES)
    for scheme in SCHEMES:
        _turn(page, scheme)
        assert page.evaluate(MARK_LOOKS) > 0
        found += _run(page, scheme, within="[data-look]", options={"runOnly": [CONTRAST]})
    return found


def grave_faults_of_every_text(page: Any) -> list[str]:
    """Give them by all rules for every element in both schemes; it takes ten times as long."""
    return [fault for scheme in SCHEMES for fault in _run(page, scheme, options={})]


def _turn(page: Any, scheme: str) -> None:
    page.emulate_media(color_scheme=scheme)
    page.wait_for_function(f"matchMedia('(prefers-color-scheme: {scheme})').matches")


def _run(page: Any, scheme: str, *, options: dict, within: str | None = None) -> list[str]:
    _turn(page, scheme)
    told = axe_api.Axe().run(
        page, context=within, options={"resultTypes": ["violations"], **options}
    )
    return [
        f"{scheme} {one['id']}: {node['html'][:200]}"
        for one in told.response["violations"]
        if one["impact"] in ("serious", "critical")
        for node in one["nodes"]
    ]

"""What all tests share: the same made-up inputs on every machine, and who runs what.

A test that passed once does not fail by chance. The tests of the pages share what is told and drawn
once, so one worker runs them all and begins with them; other files go to whoever is free.
"""

import pytest
from hypothesis import settings

settings.register_profile("same everywhere", deadline=None, derandomize=True)
settings.load_profile("same everywhere")

_PAGES = "tests/reports/"


def pytest_collection_modifyitems(items):
    items.sort(key=lambda item: not item.nodeid.startswith(_PAGES))


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    from xdist.scheduler import LoadScopeScheduling

    class PagesTogether(LoadScopeScheduling):
        def _split_scope(self, nodeid):
            return _PAGES if nodeid.startswith(_PAGES) else super()._split_scope(nodeid)

    if config.getvalue("dist") != "loadscope":
        return None
    # In order: the many small files at the end let all workers finish together.
    config.option.loadscopereorder = False
    return PagesTogether(config, log)

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest

from tests.contract.support import Handed, hand_over, sample

Written = Callable[[str, str], Handed]


@pytest.fixture(scope="session")
def written(tmp_path_factory: pytest.TempPathFactory) -> Written:
    """``written(sample, format)``: the sample as a file of that format, made once."""

    @cache
    def made(name: str, format: str) -> Handed:
        folder: Path = tmp_path_factory.mktemp(f"{name}-{format}")
        handed = hand_over(sample(name), format, folder, name)
        assert isinstance(handed, Handed), f"{name} can not be written as {format}: {handed}"
        return handed

    return made

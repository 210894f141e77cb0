"""One test for each thing that a machine may lack; its skip stands for all tests left out for want of it."""

from __future__ import annotations

import pytest

from tests.requirements import REQUIREMENTS, Requirement, all_required


@pytest.mark.parametrize("requirement", REQUIREMENTS, ids=lambda requirement: requirement.name)
def test_is_here(requirement: Requirement) -> None:
    found = requirement.find()
    if not found and not all_required():
        pytest.skip(
            f"{requirement.name} is not here, the tests that need it are left out: {requirement.remedy}"
        )
    assert found, f"{requirement.name} is required and not here: {requirement.remedy}"

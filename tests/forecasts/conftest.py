import pytest

from tests.forecasts.shop import Shop


@pytest.fixture
def shop(db: None) -> Shop:
    return Shop()

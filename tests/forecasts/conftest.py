import pytest

from tests.mills.forecast_shop import Shop


@pytest.fixture
def shop(db: None) -> Shop:
    return Shop()

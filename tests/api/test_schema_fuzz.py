"""The whole description, tried out by schemathesis: no 5xx, and no answer that is not described."""

from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from gradekit_api.app import OPERATIONS
from gradekit_api.openapi import document
from tests.api.shop import FLAWLESS, WORN, Shopfront, open_shop
from tests.api.test_offers import on_offer

# The test client of each try leaves its streams to the collector.
pytestmark = pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")

SCHEMA = schemathesis.openapi.from_dict(document(OPERATIONS))
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
]


@pytest.fixture(scope="module")
def tried(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shopfront]:
    """One shop for all tries, with something in stock and on offer."""
    path = tmp_path_factory.mktemp("fuzz") / "shop.db"
    with open_shop(f"sqlite:///{path}") as opened:
        on_offer(opened, FLAWLESS)
        opened.stock(WORN)
        yield opened


@SCHEMA.parametrize()
@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
def test_every_answer_is_one_that_is_described(case: Any, tried: Shopfront) -> None:
    """Whatever is sent, sound or not, the answer is one that the document shows."""
    key = {"Authorization": f"Bearer {tried.secret}"}
    response = case.call(app=tried.client.app, headers=key)
    case.validate_response(response, checks=CHECKS)

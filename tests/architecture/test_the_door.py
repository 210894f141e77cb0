"""Every write to the log enters through `wearlog.logbook`: nobody above it calls an app's own action, and no
action is left without a way in."""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path

import pytest

from tests.architecture.names import Code, Definition, Module

ROOT = Path(__file__).resolve().parents[2]
OWNERS = ("people", "equipment", "runs", "service", "lockout")
"""The apps that keep what the log says."""
NO_ENTRY = {
    "wearlog.people.audit.write": "a line of the trail, for whatever an app keeps beside the log",
    "wearlog.people.sessions.end": "signs a phone out",
    "wearlog.people.sessions.end_all": "signs a person out everywhere",
    "wearlog.people.signin.make_link": "makes a link for signing in",
}
"""Actions that change nothing of which a date or a figure is worked out, and what each does."""


def is_action(node: Definition) -> bool:
    """A write of this house is keyword-only and is told who acts and when."""
    if isinstance(node, ast.ClassDef) or node.name.startswith("_"):
        return False
    return {"by", "at"} <= {argument.arg for argument in node.args.kwonlyargs}


def owned_by(name: str, *floors: str) -> bool:
    return name.split(".")[1:2] and name.split(".")[1] in floors


def actions_of(code: Code) -> dict[str, tuple[Module, Definition]]:
    return {
        f"{module.name}.{node.name}": (module, node)
        for module in code.modules.values()
        if owned_by(module.name, *OWNERS)
        for node in module.definitions
        if is_action(node)
    }


def past_the_door(code: Code) -> dict[str, set[str]]:
    """For each module that is neither an owner nor the door: which actions of the owners it uses."""
    actions = set(actions_of(code)) - set(NO_ENTRY)
    found = {
        module.name: code.used(module, module.tree) & actions
        for module in code.modules.values()
        if not owned_by(module.name, *OWNERS, "logbook")
    }
    return {name: used for name, used in found.items() if used}


def without_a_way_in(code: Code) -> set[str]:
    """Actions that neither the door uses, nor an owner's code that the door comes to."""
    entered: set[str] = set()
    waiting = [
        name
        for module in code.modules.values()
        if owned_by(module.name, "logbook")
        for name in code.used(module, module.tree)
    ]
    homes = {
        f"{module.name}.{node.name}": (module, node)
        for module in code.modules.values()
        if owned_by(module.name, *OWNERS)
        for node in module.definitions
    }
    while waiting:
        name = waiting.pop()
        if name in homes and name not in entered:
            entered.add(name)
            waiting += code.used(*homes[name])
    return set(actions_of(code)) - entered - set(NO_ENTRY)


@cache
def the_code() -> Code:
    return Code.below(ROOT, "wearlog")


# --- the rule ----------------------------------------------------------------------------------------


def test_nobody_above_the_door_calls_the_action_of_an_app() -> None:
    assert past_the_door(the_code()) == {}


def test_every_action_that_writes_the_log_has_a_way_in() -> None:
    assert without_a_way_in(the_code()) == set()


def test_every_exception_is_an_action_that_somebody_calls() -> None:
    called = {name for module in the_code().modules.values() for name in the_code().used(module, module.tree)}
    assert set(NO_ENTRY) - (set(actions_of(the_code())) & called) == set()


# --- and that it can fail ----------------------------------------------------------------------------

RUNS = "def log_run(*, by, at, entry):\n    store(by=by, at=at)\n\ndef store(*, by, at):\n    pass\n"
DOOR = "from wearlog.runs import actions as runs\nlog_run = entered(runs.log_run)\n"


@pytest.mark.parametrize(
    "page",
    [
        "from wearlog.runs import actions\nactions.log_run(by=by, at=at, entry=entry)",
        "from wearlog.runs.actions import log_run as log\ndef view(request):\n    log(by=by, at=at)",
        "def view(request):\n    from wearlog.runs.actions import log_run",
        "import wearlog.runs.actions\nwearlog.runs.actions.log_run(by=by, at=at, entry=entry)",
        "import wearlog.runs.actions as runs\nlater = partial(runs.log_run, by=by)",
        "from wearlog.runs import log_run\nlog_run(by=by, at=at, entry=entry)",
    ],
)
def test_a_call_past_the_door_is_found(page: str) -> None:
    code = Code(
        {
            "wearlog.runs": "from wearlog.runs.actions import log_run",
            "wearlog.runs.actions": RUNS,
            "wearlog.web.log": page,
        }
    )
    assert past_the_door(code) == {"wearlog.web.log": {"wearlog.runs.actions.log_run"}}


def test_a_call_through_the_door_is_left_alone() -> None:
    page = "from wearlog.logbook import actions\nactions.log_run(by=by, at=at, entry=entry)"
    code = Code({"wearlog.runs.actions": RUNS, "wearlog.logbook.actions": DOOR, "wearlog.web.log": page})
    assert past_the_door(code) == {}
    assert without_a_way_in(code) == set()


def test_an_action_that_the_door_does_not_know_is_found() -> None:
    code = Code(
        {
            "wearlog.runs.actions": RUNS + "\ndef forget(*, by, at):\n    pass\n",
            "wearlog.logbook.actions": DOOR,
        }
    )
    assert without_a_way_in(code) == {"wearlog.runs.actions.forget"}

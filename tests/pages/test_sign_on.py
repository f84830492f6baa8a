"""Signing on at a page: by name, by PIN, and nothing shown to the network before it."""

from __future__ import annotations

from typing import Any

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from qclog.domain.jobs import Person
from qclog.errors import SignOnError
from qclog.services.keeping import people, signing_on
from qclog.services.keeping.launching import SIGN_ON_VARIABLE
from qclog.store.log import Log, Submission
from qclog.web import who
from tests.pages.conftest import field_of, open_page
from tests.pages.test_pages import texts


@pytest.fixture
def locked(shop: Log) -> Log:
    signing_on.set_pin(shop, "Heron", "4711", Submission("Heron", "terminal", "PIN"))
    return shop


def choose(app: AppTest, name: str) -> AppTest:
    app.selectbox(key="person").set_value(name).run()
    assert not app.exception
    return app


def test_a_name_without_a_pin_is_enough_on_this_machine(locked: Log) -> None:
    app = choose(open_page("bench", job="J-1"), "Ash")
    app.selectbox(key="bench_job").set_value("J-1").run()
    assert field_of(app)["places"]
    assert locked.exists()


def test_a_name_with_a_pin_takes_it(locked: Log) -> None:
    app = choose(open_page("bench", job="J-1"), "Heron")
    assert not field_of(app)["places"]
    app.text_input(key="pin_Heron").set_value("1212")
    next(b for b in app.button if b.label == "Sign on").click().run()
    assert "4 more tries" in " ".join(e.value for e in app.error)
    app.text_input(key="pin_Heron").set_value("4711")
    next(b for b in app.button if b.label == "Sign on").click().run()
    assert field_of(app)["places"]
    next(b for b in app.button if b.label == "Sign out").click().run()
    assert app.session_state[who.SIGNED] is None
    assert locked.exists()


def test_nothing_is_shown_to_the_network_before_someone_signs_on(locked: Log, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(SIGN_ON_VARIABLE, "1")
    for page in ("workshop", "bench", "case_type", "job"):
        app = open_page(page)
        assert [t.value for t in app.title] == ["Sign on"]
        assert not app.selectbox
        for told in ("J-1", "Heron", "Ash"):
            assert told not in texts(app)
    said = set()
    for name, pin in (("Ash", "1212"), ("Nobody", "1212"), ("Heron", "1212")):  # without a PIN, unknown, wrong
        sign_on(app, name, pin)
        assert [t.value for t in app.title] == ["Sign on"]
        said.add(" ".join(e.value for e in app.error))
    assert len(said) == 1
    sign_on(app, "Heron", "4711")
    assert [t.value for t in app.title] != ["Sign on"]
    next(b for b in app.button if b.label == "Sign out").click().run()
    assert [t.value for t in app.title] == ["Sign on"]
    assert locked.exists()


def sign_on(app: AppTest, name: str, pin: str) -> None:
    app.text_input(key="name_typed").set_value(name)
    app.text_input(key="pin_typed").set_value(pin)
    next(b for b in app.button if b.label == "Sign on").click().run()
    assert not app.exception


def test_a_manager_sees_where_wrong_pins_were_typed(locked: Log) -> None:
    people.add_person(locked, Person("Rook", "manager"), Submission("Heron", "terminal", "person"))
    with pytest.raises(SignOnError):
        signing_on.sign_on(locked, "Heron", "1212", Submission("Heron", "bench", "sign on"))
    for name, sees in (("Ash", False), ("Rook", True)):
        app = choose(open_page("workshop"), name)
        assert ("1 wrong PIN" in texts(app)) == sees


def test_who_has_left_is_not_offered(locked: Log) -> None:
    people.add_person(locked, Person("Rook", "manager"), Submission("Heron", "terminal", "person"))
    signing_on.set_left(locked, "Ash", left=True, submission=Submission("Rook", "terminal", "left"))
    offered = open_page("bench").selectbox(key="person").options
    assert not any(o.startswith("Ash") for o in offered)
    assert any(o.startswith("Heron") for o in offered)


class House(dict[str, Any]):
    """What Streamlit knows of whoever signed on with the house."""

    is_logged_in = True


@pytest.mark.parametrize(
    ("account", "person"),
    [
        ({"sub": "Heron", "name": "Ash"}, "Heron"),
        ({"sub": "a|1", "email": "Heron", "email_verified": True}, "Heron"),
        ({"sub": "a|1", "email": "Heron", "email_verified": "true"}, "Heron"),
        ({"sub": "a|1", "email": "Heron", "email_verified": False}, None),
        ({"sub": "a|1", "email": "Heron"}, None),
        ({"sub": "a|1", "name": "Heron", "preferred_username": "Heron", "nickname": "Heron"}, None),
        ({"sub": "a|7"}, "Heron"),
        ({"sub": "a|1", "email": "h@example.org", "email_verified": True}, "Heron"),
        ({"sub": "a|1", "email": "h@example.org", "email_verified": False}, None),
    ],
)
def test_the_houses_sign_on_goes_by_subject_or_verified_address(
    locked: Log, monkeypatch: pytest.MonkeyPatch, account: dict[str, Any], person: str | None
) -> None:
    monkeypatch.setattr(st, "user", House(account))
    monkeypatch.setattr(st, "secrets", {"people": {"a|7": "Heron", "h@example.org": "Heron"}})
    monkeypatch.setenv(SIGN_ON_VARIABLE, "1")
    worker = who.here(locked)
    assert (worker.person if worker else None) == person


def test_the_houses_sign_on_is_offered_only_where_it_is_set_up(locked: Log, monkeypatch: pytest.MonkeyPatch) -> None:
    assert not any(b.key == "house_sign_on" for b in open_page("bench").button)
    monkeypatch.setattr(who, "has_house_sign_on", lambda: True)
    assert any(b.key == "house_sign_on" for b in open_page("bench").button)
    monkeypatch.setattr(who, "house_account", lambda: ("Stranger",))
    assert "Stranger is signed on with the house, but is no person" in texts(open_page("bench")).replace("\\", "")
    assert locked.exists()

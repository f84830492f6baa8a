"""Who is at this browser: chosen by name, and signed on with a PIN where that person has one."""

from __future__ import annotations

import os
from collections.abc import Sequence

import streamlit as st
from streamlit import runtime
from streamlit.errors import StreamlitSecretNotFoundError

from qclog.domain.rights import Act, roles_with
from qclog.errors import InputError
from qclog.services.keeping import signing_on
from qclog.services.keeping.launching import SIGN_ON_VARIABLE
from qclog.services.keeping.signing_on import Worker
from qclog.store.log import Log, Submission
from qclog.web.frame import plain
from qclog.web.problems import show_problem, trying

NAME = "person"
SIGNED = "signed_on"


def must_sign_on() -> bool:
    """Whether the pages were opened to the network, so that nothing is shown before someone signs on."""
    return os.environ.get(SIGN_ON_VARIABLE) == "1"


def house_account() -> tuple[str, ...]:
    """What the house's own sign-on (OpenID Connect) vouches for: its subject, and its address where that is verified.

    Not its name, which people can often change themselves.
    """
    if not getattr(st.user, "is_logged_in", False):
        return ()
    verified = st.user.get("email_verified") in (True, "true")  # some providers send it as text
    vouched = (st.user.get("sub"), st.user.get("email") if verified else None)
    return tuple(str(value) for value in vouched if value)


def _persons_of(account: Sequence[str]) -> set[str]:
    """The names in the log that an account stands for: by `[people]` in Streamlit's secrets, else its own texts."""
    try:
        named = dict(st.secrets.get("people", {}))
    except StreamlitSecretNotFoundError:
        named = {}
    return {str(named.get(text, text)) for text in account}


def has_house_sign_on() -> bool:
    """Whether an OpenID Connect provider is set up for the pages (`[auth]` in Streamlit's secrets)."""
    try:
        return "auth" in st.secrets
    except StreamlitSecretNotFoundError:
        return False


def here(log: Log) -> Worker | None:
    """Who is signed on, if anyone: looked up anew, so that someone who has left is out at once."""
    return among([w for w in signing_on.workers(log) if not w.has_left])


def among(workers: Sequence[Worker]) -> Worker | None:
    """Which of the `workers` is signed on, if anyone."""
    persons = _persons_of(house_account())
    known = next((w for w in workers if w.person in persons), None)
    if known is not None:
        return known
    name = st.session_state.get(NAME)
    worker = next((w for w in workers if w.person == name), None)
    if worker is None or (worker.has_pin and st.session_state.get(SIGNED) != worker.person):
        return None
    if must_sign_on() and not worker.has_pin:
        return None
    return worker


def choose(log: Log, label: str = "Who is at the bench", *, workers: Sequence[Worker] | None = None) -> str | None:
    """The field for the name, and for the PIN where it takes one; the name once that is done.

    `workers` still here spare looking into the log again.
    """
    workers = [w for w in signing_on.workers(log) if not w.has_left] if workers is None else workers
    roles = {w.person: w.role for w in workers}
    if not roles:
        st.info("Nobody is in the log yet. Add people at the terminal: `qclog person add NAME`")
        return None
    name: str | None = st.selectbox(
        label,
        list(roles),
        index=None,
        placeholder="choose your name",
        key=NAME,
        format_func=lambda n: f"{n}, {roles[n]}" if roles[n] != "technician" else str(n),
    )
    worker = among(workers)
    if has_house_sign_on():
        _offer_house_sign_on(worker)
    if name is not None and worker is None:
        _ask_pin(log, name)
    elif worker is not None and worker.has_pin:
        st.button("Sign out", on_click=_sign_off, key="sign_off_page", type="tertiary")
    return worker.person if worker is not None else None


def _offer_house_sign_on(worker: Worker | None) -> None:
    known = house_account()
    if not known:
        st.button("Sign on with the house account", on_click=st.login, key="house_sign_on")
    elif worker is None or worker.person not in _persons_of(known):
        st.caption(plain(f"{known[0]} is signed on with the house, but is no person of this log."))


def _ask_pin(log: Log, name: str) -> None:
    with st.form("pin", border=False, clear_on_submit=True):
        pin = st.text_input(f"PIN of {name}", type="password", autocomplete="off", key=f"pin_{name}")
        if st.form_submit_button("Sign on", width="stretch"):
            with trying(f"pin of {name}"):
                signing_on.sign_on(log, name, pin, Submission(name, "bench", "sign on"))
                st.session_state[SIGNED] = name
                st.rerun()
        show_problem(f"pin of {name}")


def _sign_off() -> None:
    _drop_downloads()
    st.session_state[SIGNED] = None
    st.session_state[NAME] = None


def _drop_downloads() -> None:
    """So that links to what was taken away end with who took it; Streamlit forgets a file at the second look."""
    files = runtime.get_instance().media_file_mgr
    files.clear_session_refs()
    files.remove_orphaned_files()


def show_in_corner(log: Log) -> None:
    """A small button that says who is signed on, on pages that have no bench."""
    worker = here(log)
    label = plain(worker.person) if worker is not None else "Who are you?"
    with st.popover(label, icon=":material/person:"):
        choose(log, "Your name")
        st.caption("What you write is kept under this name.")


def ask_first(log: Log) -> None:
    """The whole page while nobody is signed on and people must: it gives no name away."""
    st.title("Sign on")
    if has_house_sign_on():
        _offer_house_sign_on(None)
    with st.form("sign_on", border=False):
        name = st.text_input("Your name", autocomplete="username", key="name_typed").strip()
        pin = st.text_input("PIN", type="password", autocomplete="off", key="pin_typed")
        sent = st.form_submit_button("Sign on", type="primary")
    if sent:
        with trying("sign on"):
            if not name:
                raise InputError("a name is needed", field="name")
            signing_on.sign_on_unseen(log, name, pin, Submission(name, "bench", "sign on"))
            st.session_state[NAME] = st.session_state[SIGNED] = name
            st.rerun()
    show_problem("sign on")


def show_wrong_pins(log: Log) -> None:
    """For a manager: under whose names wrong PINs were tried lately."""
    worker = here(log)
    if worker is None or worker.role not in roles_with(Act.MANAGE_PEOPLE):
        return
    wrong = signing_on.tell_wrong_pins(log)
    if wrong:
        lines = [plain(f"{person}: {said}") for person, said in wrong.items()]
        st.warning("Wrong PINs were typed. " + "; ".join(lines), icon=":material/lock:")


def need(log: Log, what: str) -> str | None:
    """The name of who is signed on; else a line that says to choose one before doing `what`."""
    return name_or_ask(here(log), what)


def name_or_ask(worker: Worker | None, what: str) -> str | None:
    """The same where it is known who is here."""
    if worker is None:
        st.caption(f"Choose your name at the top of the page to {what}.")
        return None
    return worker.person

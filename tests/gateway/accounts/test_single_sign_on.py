"""Single sign-on against a provider that really answers over HTTP."""

from __future__ import annotations

import time
from collections.abc import Iterator
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from joserfc.jwk import RSAKey

from gateway.accounts.people import SignInRefused
from gateway.accounts.roles import Role
from gateway.accounts.single_sign_on import PENDING_US, ProviderAway, SingleSignOn
from gateway.accounts.single_sign_on import Provider as Told
from tests.gateway.accounts.provider import CLIENT, SECRET, Provider


@pytest.fixture
def provider() -> Iterator[Provider]:
    started = Provider().start()
    yield started
    started.stop()


class Clock:
    """Real time and what a test adds."""

    def __init__(self) -> None:
        self.more_us = 0

    def now_us(self) -> int:
        return time.time_ns() // 1000 + self.more_us


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def sso(provider: Provider, clock: Clock) -> SingleSignOn:
    roles = {"scada-operators": Role.OPERATOR, "insulation": Role.ENGINEER}
    told = Told(provider.issuer, CLIENT, SECRET, "https://console.example", "groups", roles)
    return SingleSignOn(told, clock.now_us)


def begun(sso: SingleSignOn, provider: Provider) -> str:
    """Begins, and has the provider answer to what was asked."""
    where, state = sso.begin()
    query = {name: found[0] for name, found in parse_qs(urlsplit(where).query).items()}
    assert query["state"] == state
    assert query["redirect_uri"] == "https://console.example/sign-in/back"
    assert query["code_challenge_method"] == "S256" and len(query["code_challenge"]) == 43
    provider.claims.setdefault("nonce", query["nonce"])
    return state


def test_whoever_the_provider_knows_comes_in_with_the_role_of_their_group(
    sso: SingleSignOn, provider: Provider
) -> None:
    state = begun(sso, provider)
    assert sso.finish(state, "code") == ("kr", Role.OPERATOR)
    assert provider.asked["grant_type"] == "authorization_code"
    assert len(provider.asked["code_verifier"]) >= 43


def test_of_several_groups_the_one_that_may_do_most_counts(
    sso: SingleSignOn, provider: Provider
) -> None:
    provider.claims["groups"] = ["scada-operators", "insulation", "canteen"]
    assert sso.finish(begun(sso, provider), "code") == ("kr", Role.ENGINEER)


@pytest.mark.parametrize(
    "claims",
    [
        {"aud": "another-client"},
        {"iss": "https://elsewhere.example"},
        {"exp": 1},
        {"nonce": "of another sign-in"},
        {"groups": ["canteen"]},
        {"groups": None},
        {"preferred_username": "../kr"},
        {"preferred_username": ""},
    ],
)
def test_a_word_that_is_not_for_us_or_of_nobody_we_know_is_refused(
    sso: SingleSignOn, provider: Provider, claims: dict[str, Any]
) -> None:
    provider.claims.update(claims)
    with pytest.raises(SignInRefused):
        sso.finish(begun(sso, provider), "code")


def test_a_word_signed_by_somebody_else_is_refused(sso: SingleSignOn, provider: Provider) -> None:
    provider.signing = RSAKey.generate_key(2048)
    with pytest.raises(SignInRefused, match="cannot be believed"):
        sso.finish(begun(sso, provider), "code")


def test_a_sign_in_is_good_once_and_for_ten_minutes(
    sso: SingleSignOn, provider: Provider, clock: Clock
) -> None:
    state = begun(sso, provider)
    sso.finish(state, "code")
    with pytest.raises(SignInRefused, match="not begun here"):
        sso.finish(state, "code")
    state = begun(sso, provider)
    clock.more_us = PENDING_US + 1
    with pytest.raises(SignInRefused, match="took too long"):
        sso.finish(state, "code")


def test_a_provider_that_is_away_or_another_one_is_told_as_such(provider: Provider) -> None:
    for issuer in ("http://127.0.0.1:1", provider.issuer + "/other"):
        told = Told(issuer, CLIENT, SECRET, "https://console.example", "groups", {})
        with pytest.raises(ProviderAway, match="single sign-on"):
            SingleSignOn(told, lambda: 0).begin()

"""Single sign-on through OpenID Connect: authorization code with PKCE, roles from a claim.

The flow follows OpenID Connect Core 1.0 and RFC 7636 (as recalled). Nothing is asked of the
provider until somebody signs in with it, so a console starts and works while it is away. Needs the
extra `single-sign-on` (joserfc, which checks signatures).
"""

from __future__ import annotations

import base64
import hashlib
import secrets
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from gateway.accounts.people import NAME, SignInRefused
from gateway.accounts.roles import Role

if TYPE_CHECKING:
    import httpx

ANSWER_S = 10.0
"""A provider that does not answer within this is away."""

PENDING_MAX = 1_000
"""So many sign-ins may be under way; of more the oldest are forgotten and begin again."""

PENDING_US = 600_000_000
"""A sign-in that takes longer begins again."""

LEEWAY_S = 60
"""By so much the clocks of provider and gateway may differ."""

ALGORITHMS = ["RS256", "RS384", "RS512", "PS256", "ES256", "ES384", "EdDSA"]
"""Signatures with a key pair only: none without one, none with a shared secret."""


class ProviderAway(OSError):
    """The provider cannot be reached, or does not answer as one does."""


@dataclass(frozen=True, slots=True)
class Provider:
    """issuer: its address, as it names itself. console: the console's own address, to come back to.
    roles: word in the claim to role; of several the one that may do most counts."""

    issuer: str
    client_id: str
    client_secret: str
    console: str
    roles_claim: str
    roles: Mapping[str, Role]
    name_claim: str = "preferred_username"

    @property
    def back(self) -> str:
        """Where the provider sends the browser back to."""
        return f"{self.console.rstrip('/')}/sign-in/back"


@dataclass(frozen=True, slots=True)
class _Pending:
    nonce: str
    verifier: str
    begun_us: int


class SingleSignOn:
    """now_us: real time. One provider."""

    def __init__(self, provider: Provider, now_us: Callable[[], int]) -> None:
        self._provider = provider
        self._now_us = now_us
        self._pending: dict[str, _Pending] = {}
        self._one_at_a_time = threading.Lock()

    def begin(self) -> tuple[str, str]:
        """(where to send the browser, what it must bring back). Raises ProviderAway."""
        where = self._discovered()["authorization_endpoint"]
        state, nonce, verifier = (secrets.token_urlsafe(32) for _ in range(3))
        with self._one_at_a_time:
            self._pending[state] = _Pending(nonce, verifier, self._now_us())
            while len(self._pending) > PENDING_MAX:
                del self._pending[next(iter(self._pending))]
        digest = hashlib.sha256(verifier.encode()).digest()
        query = {
            "response_type": "code",
            "client_id": self._provider.client_id,
            "redirect_uri": self._provider.back,
            "scope": "openid profile",
            "state": state,
            "nonce": nonce,
            "code_challenge": base64.urlsafe_b64encode(digest).rstrip(b"=").decode(),
            "code_challenge_method": "S256",
        }
        return f"{where}?{urlencode(query)}", state

    def finish(self, state: str, code: str) -> tuple[str, Role]:
        """(name, role) of whoever came back. Raises SignInRefused, ProviderAway."""
        with self._one_at_a_time:
            pending = self._pending.pop(state, None)
        if pending is None or self._now_us() - pending.begun_us > PENDING_US:
            raise SignInRefused("this sign-in was not begun here, or took too long; begin again")
        said = self._post(
            self._discovered()["token_endpoint"],
            {
                "grant_type": "authorization_code",
                "code": code,
                "redirect_uri": self._provider.back,
                "code_verifier": pending.verifier,
            },
        )
        claims = self._checked(str(said.get("id_token", "")), pending.nonce)
        return self._name(claims), self._role(claims)

    def _checked(self, id_token: str, nonce: str) -> Mapping[str, Any]:
        from joserfc import jwt
        from joserfc.errors import JoseError
        from joserfc.jwk import KeySet

        provider = self._provider
        try:
            listed: Any = self._get(self._discovered()["jwks_uri"])
            keys = KeySet.import_key_set(listed)
            token = jwt.decode(id_token, keys, algorithms=ALGORITHMS)
            jwt.JWTClaimsRegistry(
                now=self._now_us() // 1_000_000,
                leeway=LEEWAY_S,
                iss={"essential": True, "value": provider.issuer},
                aud={"essential": True, "value": provider.client_id},
                exp={"essential": True},
                sub={"essential": True},
                nonce={"essential": True, "value": nonce},
            ).validate(token.claims)
        except (JoseError, ValueError, KeyError) as fault:
            raise SignInRefused(f"the provider's word cannot be believed: {fault}") from fault
        return token.claims

    def _name(self, claims: Mapping[str, Any]) -> str:
        name = str(claims.get(self._provider.name_claim, "")).lower()
        if not NAME.fullmatch(name):
            raise SignInRefused(
                f"the provider names nobody that can be an account: {name[:40]!r} in "
                f"{self._provider.name_claim!r}"
            )
        return name

    def _role(self, claims: Mapping[str, Any]) -> Role:
        told = claims.get(self._provider.roles_claim, ())
        words: Sequence[Any] = [told] if isinstance(told, str) else list(told or ())
        roles = {self._provider.roles[one] for one in words if one in self._provider.roles}
        if not roles:
            raise SignInRefused("the provider gives you no role here; ask your administrator")
        return max(roles, key=list(Role).index)

    def _discovered(self) -> Mapping[str, Any]:
        issuer = self._provider.issuer
        found = self._get(f"{issuer.rstrip('/')}/.well-known/openid-configuration")
        needed = ("authorization_endpoint", "token_endpoint", "jwks_uri")
        if found.get("issuer") != issuer or not all(isinstance(found.get(k), str) for k in needed):
            raise ProviderAway(
                f"single sign-on {issuer}: it names itself {found.get('issuer')!r}, or lacks one "
                f"of {', '.join(needed)}; `issuer` must be exactly what the provider says"
            )
        return found

    def _get(self, where: str) -> dict[str, Any]:
        return self._answer(lambda client: client.get(where))

    def _post(self, where: str, form: Mapping[str, str]) -> dict[str, Any]:
        who = (self._provider.client_id, self._provider.client_secret)
        return self._answer(lambda client: client.post(where, data=form, auth=who))

    def _answer(self, ask: Callable[[httpx.Client], httpx.Response]) -> dict[str, Any]:
        import httpx  # 5 MB that a gateway without single sign-on never needs

        try:
            with httpx.Client(timeout=ANSWER_S) as client:
                found = ask(client).raise_for_status().json()
        except (httpx.HTTPError, httpx.InvalidURL, ValueError) as fault:
            raise ProviderAway(f"single sign-on {self._provider.issuer}: {fault}") from fault
        if not isinstance(found, dict):
            raise ProviderAway(f"single sign-on {self._provider.issuer}: no object in its answer")
        return found

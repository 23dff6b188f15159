"""What each route of the console needs: one table, and no route without a row."""

from __future__ import annotations

from gateway.accounts.roles import Act
from gateway.console.rooms import Route

_READ_API = (
    "health",
    "sites",
    "units",
    "insulators",
    "conditions",
    "alarms",
    "alarms/states",
    "alarms/performance",
    "openapi.json",
    "sites/{site}/intervals",
    "sites/{site}/weather",
    "sites/{site}/exposure",
    "sites/{site}/journal",
    "sites/{site}/labels",
    "sites/{site}/captures",
    "sites/{site}/captures/{content_sha}",
)

_PAGES = (
    "/",
    "/sites/{site}",
    "/sites/{site}/insulators/{insulator}",
    "/sites/{site}/insulators/{insulator}/trend.csv",
    "/sites/{site}/insulators/{insulator}/exposure.csv",
    "/sites/{site}/insulators/{insulator}/response",
    "/sites/{site}/insulators/{insulator}/response.csv",
    "/sites/{site}/insulators/{insulator}/waveform.csv",
    "/alarms",
    "/alarms/{alarm_id}",
    "/tasks",
    "/units",
    "/journal",
    "/journal.csv",
    "/performance",
    "/hand-over",
    "/results",
    "/results/compare",
    "/results/{name}",
    "/labels.csv",
    "/about",
    "/stream",
)

_ENTER: tuple[Route, ...] = (
    ("GET", "/static/{sha}/{name}"),
    ("GET", "/sign-in"),
    ("POST", "/sign-in"),
    ("POST", "/sign-in/elsewhere"),
    ("GET", "/sign-in/back"),
    ("POST", "/preferences"),
)

_ALARM_ACTS: dict[str, Act] = {
    "acknowledge": Act.ACKNOWLEDGE,
    "shelve": Act.SHELVE,
    "unshelve": Act.SHELVE,
    "reset": Act.RESET,
    "answer": Act.ANSWER,
    "outage": Act.PLAN_OUTAGE,
    "out-of-service": Act.MAINTAIN,
    "in-service": Act.MAINTAIN,
}
"""By the word that ends the route, of a form and of the API alike."""

ACTS: dict[Route, Act] = {
    **{("GET", f"/api/1/{name}"): Act.READ for name in _READ_API},
    **{("POST", f"/api/1/alarms/{word}"): act for word, act in _ALARM_ACTS.items()},
    **{("GET", path): Act.READ for path in _PAGES},
    **{("POST", f"/do/{word}"): act for word, act in _ALARM_ACTS.items()},
    **dict.fromkeys(_ENTER, Act.ENTER),
    ("GET", "/account"): Act.OWN,
    ("POST", "/account/password"): Act.OWN,
    ("POST", "/account/token"): Act.OWN,
    ("POST", "/account/tokens-end"): Act.OWN,
    ("POST", "/sign-out"): Act.OWN,
    ("GET", "/accounts"): Act.GOVERN,
    ("POST", "/accounts/add"): Act.GOVERN,
    ("POST", "/accounts/role"): Act.GOVERN,
    ("POST", "/accounts/disable"): Act.GOVERN,
    ("POST", "/accounts/enable"): Act.GOVERN,
    ("POST", "/accounts/unlock"): Act.GOVERN,
    ("POST", "/accounts/password"): Act.GOVERN,
}

"""What the application gives to every handler that names it."""

from __future__ import annotations

from typing import Any

from litestar.connection import Request
from litestar.di import NamedDependency

from service.settings import Settings
from service.tokens import Actor
from service.workflows.application import Application

AnyRequest = Request[Any, Any, Any]
Workflows = NamedDependency[Application]
"""Parameter ``workflows``: the store and everything that can be done with it."""
ActorGiven = NamedDependency[Actor]
"""Parameter ``actor``: who is asking; the guard has let them pass."""
SettingsGiven = NamedDependency[Settings]
"""Parameter ``settings``: the operator's settings."""
